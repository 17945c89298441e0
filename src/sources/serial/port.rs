//! Opening a port: settings read back, and every refusal in words that say what to do.

use std::path::Path;
use std::time::Duration;

use serialport::{DataBits, ErrorKind, FlowControl, Parity, SerialPort, StopBits, TTYPort};

use crate::model::Text;

/// Longest wait for a byte: how soon the thread sees that it is to end.
const READ_WAIT: Duration = Duration::from_millis(200);

/// How a port is set, as its tester's manual says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// The station's name.
    pub name: Text,
    /// The device, best by a name that stays: `/dev/serial/by-id/…` or `/dev/serial/by-path/…`.
    pub port: String,
    /// Bits per second.
    pub baud: u32,
    /// 5 to 8.
    pub data_bits: DataBits,
    /// None, even or odd.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: StopBits,
    /// None, software (XON/XOFF) or hardware (RTS/CTS).
    pub flow: FlowControl,
}

/// Opens the port; beside it what of the settings did not take.
///
/// # Errors
/// In words for the person at the bench: what is the matter and what to do.
pub(crate) fn open(settings: &Settings) -> Result<(TTYPort, Vec<String>), String> {
    let port = serialport::new(&settings.port, settings.baud)
        .data_bits(settings.data_bits)
        .parity(settings.parity)
        .stop_bits(settings.stop_bits)
        .flow_control(settings.flow)
        .timeout(READ_WAIT)
        .open_native()
        .map_err(|e| refusal(&settings.port, &e))?;
    let mismatches = mismatches(&port, settings);
    Ok((port, mismatches))
}

/// Settings that read back otherwise than they were asked for: a driver may take what it cannot do.
fn mismatches(port: &TTYPort, asked: &Settings) -> Vec<String> {
    let mut out = Vec::new();
    let mut compare = |what: &str, asked: String, found: serialport::Result<String>| match found {
        Ok(found) if found == asked => {}
        Ok(found) => out.push(format!("{what}: asked for {asked}, the port says {found}")),
        Err(e) => out.push(format!("{what}: cannot be read back ({e})")),
    };
    compare("baud", asked.baud.to_string(), port.baud_rate().map(|v| v.to_string()));
    compare("data bits", asked.data_bits.to_string(), port.data_bits().map(|v| v.to_string()));
    compare("parity", asked.parity.to_string(), port.parity().map(|v| v.to_string()));
    compare("stop bits", asked.stop_bits.to_string(), port.stop_bits().map(|v| v.to_string()));
    compare("flow control", asked.flow.to_string(), port.flow_control().map(|v| v.to_string()));
    out
}

fn refusal(port: &str, error: &serialport::Error) -> String {
    use std::io::ErrorKind as Io;
    let there = Path::new(port).exists();
    match error.kind() {
        // The library reports a lock as a missing device.
        ErrorKind::NoDevice if there => format!(
            "`{port}` is held by another program (close the terminal program or the other logger; \
             `fuser {port}` names it)"
        ),
        ErrorKind::Io(Io::PermissionDenied) => denied(port),
        ErrorKind::Unknown if error.description.contains("not permitted") => denied(port),
        _ if !there => format!(
            "`{port}` is not there (plug the adapter in, or correct `port`: \
             `ls /dev/serial/by-id /dev/serial/by-path` shows what there is)"
        ),
        ErrorKind::Unknown if error.description.contains("typewriter") => {
            format!("`{port}` is no serial port (correct `port` in the configuration)")
        }
        ErrorKind::InvalidInput => {
            format!("`{port}` does not take these settings: {error} (correct `baud` and the rest)")
        }
        _ => format!("`{port}` cannot be opened: {error}"),
    }
}

fn denied(port: &str) -> String {
    format!(
        "`{port}` may not be opened by this user (`ls -l {port}` shows its group, often `dialout`: \
         add the user to it and start again; in a systemd unit see SupplementaryGroups and \
         DeviceAllow)"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(port: &str) -> Settings {
        Settings {
            name: "bench-1".into(),
            port: port.to_owned(),
            baud: 9600,
            data_bits: DataBits::Eight,
            parity: Parity::None,
            stop_bits: StopBits::One,
            flow: FlowControl::None,
        }
    }

    #[test]
    fn each_refusal_says_what_to_do() {
        let refused = |port: &str| open(&at(port)).map(|_| ()).unwrap_err();
        assert!(refused("/dev/serial/by-id/none").contains("is not there (plug"));
        let file = tempfile::NamedTempFile::new().unwrap();
        assert!(refused(file.path().to_str().unwrap()).contains("is no serial port"));
        let (_master, slave) = TTYPort::pair().unwrap();
        let name = slave.name().unwrap();
        let (_held, _) = open(&at(&name)).unwrap();
        assert!(refused(&name).contains("is held by another program"));
        // As root the system refuses nothing, so this one is only told.
        let denied = serialport::Error::new(
            ErrorKind::Io(std::io::ErrorKind::PermissionDenied),
            "Permission denied",
        );
        let told = refusal("/dev/ttyUSB0", &denied);
        assert!(told.contains("`dialout`: add the user to it"), "{told}");
    }

    #[test]
    fn what_the_driver_does_not_do_is_said() {
        let (_master, slave) = TTYPort::pair().unwrap();
        let mut settings = at(&slave.name().unwrap());
        let (port, fine) = open(&settings).unwrap();
        assert_eq!(fine, Vec::<String>::new());
        drop(port);
        // A pseudo-terminal has no parity and takes it silently (Linux, drivers/tty/pty.c).
        settings.parity = Parity::Even;
        let (_port, said) = open(&settings).unwrap();
        assert_eq!(said, ["parity: asked for Even, the port says None"]);
    }
}
