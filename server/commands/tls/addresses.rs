//! The names and addresses by which other machines reach this one.

use std::net::{IpAddr, SocketAddr};

use http_service::HostName;

use super::Failure;
use super::authority::vouches_for;

/// What a certificate for a service on this address must name: this machine itself, its host name, and every address of
/// its networks that the service listens on; then what was named by hand.
///
/// # Errors
///
/// [`Failure`] where this machine does not tell its addresses, or a name is neither an address nor a host name.
pub fn names(listens_on: SocketAddr, by_hand: &[String]) -> Result<Vec<String>, Failure> {
    let mut names = Vec::new();
    let addresses: Vec<IpAddr> = if listens_on.ip().is_unspecified() {
        let found = if_addrs::get_if_addrs().map_err(|error| {
            Failure::of_work(format!(
                "rungbook: this machine does not tell its addresses ({error}); name them with --name ADDRESS"
            ))
        })?;
        let heard = |address: &IpAddr| address.is_ipv4() || listens_on.is_ipv6();
        let mut heard: Vec<_> =
            found.iter().map(if_addrs::Interface::ip).filter(heard).filter(is_reachable).collect();
        // The shorter ones first, since people type them.
        heard.sort_by_key(IpAddr::is_ipv6);
        heard
    } else {
        vec![listens_on.ip()]
    };
    // What is beyond this machine comes first, since that is what a phone types.
    let (own, others): (Vec<_>, Vec<_>) = addresses.into_iter().partition(IpAddr::is_loopback);
    names.extend(by_hand.iter().cloned());
    names.extend(others.iter().map(ToString::to_string));
    if !listens_on.ip().is_loopback()
        && let Ok(host) = gethostname::gethostname().into_string()
    {
        let host = host.to_ascii_lowercase();
        if host.parse::<HostName>().is_ok() && !host.contains('.') {
            names.push(format!("{host}.local"));
        }
    }
    names.push("localhost".to_owned());
    names.extend(own.iter().map(ToString::to_string));
    names.push("127.0.0.1".to_owned());
    if let Some(wrong) = by_hand.iter().find(|name| !is_name(name)) {
        return Err(Failure::of_input(format!(
            "rungbook: {wrong} (--name, or the host of an organisation) is neither an address nor a host name; write one such as 192.168.1.5 or laptop.local"
        )));
    }
    if let Some(foreign) = by_hand.iter().find(|name| !vouches_for(name)) {
        return Err(Failure::of_input(format!(
            "rungbook: {foreign} is not of a private network, nor a name that ends in .local or .home.arpa, and the folder's own \
             authority vouches for nothing else, so that phones which trust it need not trust it about the rest of the world. \
             Use a certificate from elsewhere with --certificate FILE --key FILE"
        )));
    }
    let mut once: Vec<String> = Vec::new();
    for name in names {
        if vouches_for(&name) && !once.contains(&name) {
            once.push(name);
        }
    }
    Ok(once)
}

/// Link-local addresses of IPv6 need a zone, which no certificate can name.
fn is_reachable(address: &IpAddr) -> bool {
    match address {
        IpAddr::V4(_) => true,
        IpAddr::V6(address) => !address.is_unicast_link_local(),
    }
}

fn is_name(name: &str) -> bool {
    name.parse::<IpAddr>().is_ok() || name.parse::<HostName>().is_ok()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_certificate_names_this_machine_and_what_was_named_by_hand_once_each() {
        let by_hand = ["laptop.local".to_owned(), "localhost".to_owned()];
        let names = names("192.168.7.7:8440".parse().unwrap(), &by_hand).ok().unwrap();

        assert_eq!(names[0], "laptop.local");
        for name in ["192.168.7.7", "127.0.0.1", "localhost"] {
            assert_eq!(names.iter().filter(|other| *other == name).count(), 1, "{name}");
        }
    }

    #[test]
    fn what_is_no_name_or_belongs_to_others_is_refused() {
        for wrong in ["http://x", "a b", "", "-a.b", "a..b", "bank.example", "203.0.113.9"] {
            let refused = names("127.0.0.1:1".parse().unwrap(), &[wrong.to_owned()]);
            assert!(refused.is_err(), "{wrong}");
        }
    }
}
