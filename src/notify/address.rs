//! To which addresses messages may be sent: an address in the configuration must not become a way
//! into the network behind this machine.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// What an address is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// The internet.
    Public,
    /// This machine or the network it stands in.
    Private,
    /// Where no receiver of messages is: link-local (also where clouds keep what a machine may
    /// know of itself), multicast, reserved.
    Never(&'static str),
}

/// Where clouds keep a machine's own secrets outside the link-local ranges (common practice, from
/// memory).
const METADATA: [IpAddr; 2] = [
    IpAddr::V4(Ipv4Addr::new(100, 100, 100, 200)),
    IpAddr::V6(Ipv6Addr::new(0xfd00, 0xec2, 0, 0, 0, 0, 0, 0x254)),
];

/// By the special-purpose address registries of IANA (RFC 6890), with an address inside another
/// one judged as that.
pub(super) fn reach(address: IpAddr) -> Reach {
    if METADATA.contains(&address) {
        return Reach::Never("it is where a cloud keeps the secrets of its machines");
    }
    match address {
        IpAddr::V4(v4) => reach_v4(v4),
        IpAddr::V6(v6) => match inner(v6) {
            Some(v4) => reach(IpAddr::V4(v4)),
            None => reach_v6(v6),
        },
    }
}

fn reach_v4(address: Ipv4Addr) -> Reach {
    let [a, b, c, _] = address.octets();
    match (a, b, c) {
        (10 | 127, ..) | (172, 16..=31, _) | (192, 168, _) | (100, 64..=127, _) => Reach::Private,
        (169, 254, _) => Reach::Never("it is link-local"),
        (224..=239, ..) => Reach::Never("it is multicast"),
        (0 | 240..=255, ..) | (192, 0, 0) | (198, 18..=19, _) => Reach::Never("it is reserved"),
        (192, 0, 2) | (198, 51, 100) | (203, 0, 113) => Reach::Never("it is for examples only"),
        _ => Reach::Public,
    }
}

fn reach_v6(address: Ipv6Addr) -> Reach {
    match address.segments() {
        [0, 0, 0, 0, 0, 0, 0, 1] | [0xfc00..=0xfdff, ..] => Reach::Private,
        [0xfe80..=0xfebf, ..] => Reach::Never("it is link-local"),
        [0xff00..=0xffff, ..] => Reach::Never("it is multicast"),
        [0x2001, 0xdb8, ..] | [0x3fff, 0..=0x0fff, ..] => Reach::Never("it is for examples only"),
        [0x2001, 0..=0x1ff, ..] => Reach::Never("it is reserved"),
        [0x2000..=0x3fff, ..] => Reach::Public,
        _ => Reach::Never("it is reserved"),
    }
}

/// The IPv4 address within an IPv6 one: mapped, translated (64:ff9b::/96) or 6to4.
fn inner(address: Ipv6Addr) -> Option<Ipv4Addr> {
    let joined = |high: u16, low: u16| Ipv4Addr::from(u32::from(high) << 16 | u32::from(low));
    match address.segments() {
        [0, 0, 0, 0, 0, 0xffff, high, low] | [0x64, 0xff9b, 0, 0, 0, 0, high, low] => {
            Some(joined(high, low))
        }
        [0x2002, high, low, ..] => Some(joined(high, low)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890), first and last addresses.
    #[test]
    fn registries() {
        let private = "10.0.0.0 10.255.255.255 127.0.0.1 172.16.0.0 172.31.255.255 192.168.0.1 \
            100.64.0.0 100.127.255.255 ::1 fc00:: fdff:ffff:: ::ffff:127.0.0.1 64:ff9b::a00:1 \
            2002:c0a8:101::1";
        let never = "169.254.169.254 169.254.0.0 0.0.0.0 224.0.0.1 239.255.255.255 240.0.0.0 \
            255.255.255.255 192.0.0.8 192.0.2.1 198.51.100.1 203.0.113.1 198.18.0.0 \
            198.19.255.255 :: fe80::1 febf::1 ff02::1 2001:db8::1 2001::1 fd00:ec2::254 \
            100.100.100.200 ::ffff:169.254.169.254 64:ff9b::a9fe:a9fe 100::1 ::7f00:1";
        let public = "1.1.1.1 9.255.255.255 11.0.0.0 172.15.255.255 172.32.0.0 100.63.255.255 \
            100.128.0.0 192.0.1.1 2606:4700::1 2a00::1 ::ffff:8.8.8.8";
        let of = |text: &str| reach(text.parse().unwrap());
        for text in private.split_whitespace() {
            assert_eq!(of(text), Reach::Private, "{text}");
        }
        for text in never.split_whitespace() {
            assert!(matches!(of(text), Reach::Never(_)), "{text}");
        }
        for text in public.split_whitespace() {
            assert_eq!(of(text), Reach::Public, "{text}");
        }
    }
}
