//! Tells noise from text: what a serial line yields when its speed or framing is set wrongly.

use std::collections::VecDeque;

/// Bytes looked back at.
const WINDOW: usize = 256;

/// Fewest bytes to say anything about.
const LEAST: usize = 64;

/// What a run of bytes looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sound {
    /// Text.
    Text,
    /// Seven data bits and a parity bit that were read as eight data bits.
    Parity {
        /// Whether the number of ones is even in every byte.
        even: bool,
    },
    /// No text: `share` per cent of the bytes.
    Noise {
        /// Per cent of the bytes that no text contains.
        share: u8,
    },
}

/// Listens to a stream.
///
/// A wrong speed turns characters into control codes and bytes with the top bit set, and line ends
/// all but vanish; text in any 8-bit code has line ends and hardly a control code. A missed parity
/// bit shows beyond doubt: every byte has the same parity. (From how the bits fall on a line; no
/// published source.)
#[derive(Debug, Default)]
pub(crate) struct Listener {
    window: VecDeque<u8>,
}

impl Listener {
    /// Takes the next bytes and says what the last ones look like; none while they are too few.
    pub(crate) fn hear(&mut self, bytes: &[u8]) -> Option<Sound> {
        let tail = &bytes[bytes.len().saturating_sub(WINDOW)..];
        self.window.extend(tail);
        let excess = self.window.len().saturating_sub(WINDOW);
        self.window.drain(..excess);
        (self.window.len() >= LEAST).then(|| self.sound())
    }

    /// Whether there was a line end among the last bytes.
    pub(crate) fn heard_lines(&self) -> bool {
        self.window.iter().any(|b| matches!(b, b'\r' | b'\n'))
    }

    /// Forgets what it heard, so that the next bytes are judged by themselves.
    pub(crate) fn forget(&mut self) {
        self.window.clear();
    }

    fn sound(&mut self) -> Sound {
        let bytes = &*self.window.make_contiguous();
        let count = |test: fn(u8) -> bool| bytes.iter().filter(|&&b| test(b)).count();
        let high = count(|b| b >= 0x80);
        let line_ends = count(|b| matches!(b, b'\r' | b'\n'));
        if high * 4 >= bytes.len() {
            let odd = count(|b| b.count_ones() % 2 == 1);
            let plain = count(|b| is_control(b & 0x7F)) == 0;
            if plain && (odd == 0 || odd == bytes.len()) {
                return Sound::Parity { even: odd == 0 };
            }
        }
        let controls = count(is_control);
        let foreign = controls + not_utf8(bytes);
        let many_controls = controls * 10 >= bytes.len();
        let no_lines = foreign * 10 >= bytes.len() * 3 && line_ends == 0;
        if many_controls || no_lines {
            return Sound::Noise { share: (foreign * 100 / bytes.len()) as u8 };
        }
        Sound::Text
    }
}

/// Control codes that no line of a tester holds; line ends and tabs are text.
fn is_control(byte: u8) -> bool {
    (byte < 0x20 && !matches!(byte, b'\r' | b'\n' | b'\t')) || byte == 0x7F
}

/// Bytes that are not part of UTF-8 text.
fn not_utf8(bytes: &[u8]) -> usize {
    bytes.utf8_chunks().map(|chunk| chunk.invalid().len()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(bytes: &[u8]) -> Sound {
        Listener::default().hear(bytes).unwrap()
    }

    const LINES: &str = "U 500 V 53.2 MΩ 21.5 °C\r\nV 500 V > 550 MΩ 21.5 °C\r\nW 500 V 61 MΩ\r\n";

    /// What a receiver at `factor` times the sender's speed makes of bytes sent as 8N1: it samples
    /// the line in the middle of its own bits (the framing of TIA-232 and every UART since).
    fn at_wrong_speed(bytes: &[u8], factor: f64) -> Vec<u8> {
        let mut line = vec![true; 4];
        for &byte in bytes {
            line.push(false);
            line.extend((0..8).map(|bit| byte >> bit & 1 == 1));
            line.push(true);
        }
        let level = |at: f64| line.get(at as usize).copied();
        let (mut out, mut at) = (Vec::new(), 0.0);
        let bit = 1.0 / factor;
        while let Some(high) = level(at) {
            if high {
                at += bit / 16.0;
                continue;
            }
            let mut byte = 0;
            for n in 0..8 {
                let Some(high) = level(at + bit * (1.5 + f64::from(n))) else { return out };
                byte |= u8::from(high) << n;
            }
            out.push(byte);
            at += bit * 9.5;
        }
        out
    }

    #[test]
    fn a_wrong_speed_is_noise_and_the_right_one_is_text() {
        let sent = LINES.repeat(8);
        assert_eq!(at_wrong_speed(sent.as_bytes(), 1.0), sent.as_bytes());
        for factor in [0.125, 0.25, 0.5, 2.0, 4.0, 6.0, 12.0] {
            let sound = heard(&at_wrong_speed(sent.as_bytes(), factor));
            assert!(matches!(sound, Sound::Noise { .. }), "{factor}: {sound:?}");
        }
    }

    #[test]
    fn a_missed_parity_bit_is_named() {
        for even in [true, false] {
            let sent: Vec<u8> = "U 500 V 53.2 MOhm\r\n"
                .repeat(8)
                .bytes()
                .map(|b| if (b.count_ones() % 2 == 1) == even { b | 0x80 } else { b })
                .collect();
            assert_eq!(heard(&sent), Sound::Parity { even });
        }
    }

    #[test]
    fn text_in_any_code_is_text() {
        let latin = b"W 61 M\xD8 21,5 \xB0C\r\n".repeat(20);
        // "МОм" in Windows-1251.
        let cyrillic = b"\xCC\xCE\xEC 61 \xC2\xEE\xEB\xFC\xF2 500\r\n".repeat(20);
        for text in [LINES.repeat(8).as_bytes(), &latin, &cyrillic, &[b'\n'; 300]] {
            assert_eq!(heard(text), Sound::Text);
        }
    }
}
