//! The signature by which a receiver knows that a message is ours and whole: HMAC (RFC 2104) with
//! SHA-256 over the time of sending, a full stop and the body.

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

/// The signature of a body sent at a Unix time in seconds, as it stands in the header:
/// `sha256=` and 64 hexadecimal digits. The time is signed too, so that an old message cannot be
/// sent again by somebody else.
pub fn signature(secret: &[u8], unix_seconds: i64, body: &str) -> String {
    let signed = format!("{unix_seconds}.{body}");
    format!("sha256={}", hex(&mac(secret, signed.as_bytes())))
}

/// HMAC-SHA256; a key may have any length.
fn mac(key: &[u8], data: &[u8]) -> Vec<u8> {
    // Only fixed-size keys can have a wrong length; HMAC's cannot.
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(key) else { return Vec::new() };
    mac.update(data);
    mac.finalize().into_bytes().to_vec()
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Test cases 1 to 4, 6 and 7 of RFC 4231, "Identifiers and Test Vectors for HMAC-SHA-224,
    // HMAC-SHA-256, HMAC-SHA-384, and HMAC-SHA-512", sections 4.2 to 4.5, 4.7 and 4.8.
    #[test]
    fn rfc_4231() {
        let cases: [(&[u8], &[u8], &str); 6] = [
            (
                &[0x0b; 20],
                b"Hi There",
                "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
            ),
            (
                b"Jefe",
                b"what do ya want for nothing?",
                "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
            ),
            (
                &[0xaa; 20],
                &[0xdd; 50],
                "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
            ),
            (
                &std::array::from_fn::<u8, 25, _>(|i| i as u8 + 1),
                &[0xcd; 50],
                "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
            ),
            (
                &[0xaa; 131],
                b"Test Using Larger Than Block-Size Key - Hash Key First",
                "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
            ),
            (
                &[0xaa; 131],
                b"This is a test using a larger than block-size key and a larger than block-size \
                  data. The key needs to be hashed before being used by the HMAC algorithm.",
                "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
            ),
        ];
        for (key, data, expected) in cases {
            assert_eq!(hex(&mac(key, data)), expected);
        }
    }

    #[test]
    fn the_time_is_signed_with_the_body() {
        let now = signature(b"quay", 1_772_440_000, "{}");
        assert_eq!(now, format!("sha256={}", hex(&mac(b"quay", b"1772440000.{}"))));
        assert_ne!(now, signature(b"quay", 1_772_440_001, "{}"));
        assert_ne!(now, signature(b"pier", 1_772_440_000, "{}"));
    }
}
