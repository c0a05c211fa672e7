//! What a proxy of ours tells of a request: from which address it came, for which host, and whether over TLS.
//!
//! Of each header the last entry counts, since a proxy adds its own behind whatever its client wrote. `Forwarded` (RFC 7239) is
//! not read: many proxies let it through as their client sent it.

use std::net::{IpAddr, SocketAddr};

use actix_web::HttpRequest;

fn last<'r>(request: &'r HttpRequest, name: &str) -> Option<&'r str> {
    let value = request.headers().get_all(name).last()?.to_str().ok()?;
    let entry = value.rsplit(',').next().unwrap_or(value).trim();
    (!entry.is_empty()).then_some(entry)
}

/// The address that the proxy was asked from.
pub(crate) fn address(request: &HttpRequest) -> Option<IpAddr> {
    let told = last(request, "x-forwarded-for")?;
    let with_port = || told.parse::<SocketAddr>().ok().map(|it| it.ip());
    let in_brackets = || told.strip_prefix('[')?.strip_suffix(']')?.parse().ok();
    told.parse().ok().or_else(with_port).or_else(in_brackets)
}

/// The host that the proxy was asked for, where it says so in a header of its own.
pub(crate) fn host(request: &HttpRequest) -> Option<&str> {
    last(request, "x-forwarded-host")
}

/// Whether TLS was spoken with the proxy.
pub(crate) fn is_tls(request: &HttpRequest) -> bool {
    last(request, "x-forwarded-proto").is_some_and(|it| it.eq_ignore_ascii_case("https"))
}

#[cfg(test)]
mod tests {
    use actix_web::test::TestRequest;

    use super::*;

    fn asked(headers: &[(&'static str, &'static str)]) -> HttpRequest {
        let asked = TestRequest::get().uri("/");
        headers.iter().fold(asked, |asked, it| asked.append_header(*it)).to_http_request()
    }

    #[test]
    fn what_a_client_wrote_itself_counts_for_nothing_where_the_proxy_adds_its_own() {
        let told = |headers| address(&asked(headers)).map(|it| it.to_string());
        let by = |text: &str| Some(text.to_owned());
        assert_eq!(told(&[("x-forwarded-for", "192.0.2.7")]), by("192.0.2.7"));
        assert_eq!(told(&[("x-forwarded-for", "198.51.100.1, 192.0.2.7")]), by("192.0.2.7"));
        let twice = [("x-forwarded-for", "198.51.100.1"), ("x-forwarded-for", "192.0.2.7")];
        assert_eq!(told(&twice), by("192.0.2.7"));
        assert_eq!(told(&[("x-forwarded-for", "192.0.2.7:4711")]), by("192.0.2.7"));
        assert_eq!(told(&[("x-forwarded-for", "2001:db8::7")]), by("2001:db8::7"));
        assert_eq!(told(&[("x-forwarded-for", "[2001:db8::7]:4711")]), by("2001:db8::7"));
        assert_eq!(told(&[("x-forwarded-for", "[2001:db8::7]")]), by("2001:db8::7"));
        for nothing in ["", "unknown", "192.0.2.7,", "192.0.2.7, _hidden"] {
            assert_eq!(address(&asked(&[("x-forwarded-for", nothing)])), None, "{nothing}");
        }
        assert_eq!(told(&[("forwarded", "for=198.51.100.1;host=south;proto=https")]), None);
    }

    #[test]
    fn of_hosts_and_protocols_the_last_is_the_proxys_own() {
        let of_both = asked(&[
            ("x-forwarded-host", "south.example.org"),
            ("x-forwarded-host", "west.example.org, north.example.org"),
            ("x-forwarded-proto", "https, http"),
            ("forwarded", "host=south.example.org;proto=https"),
        ]);
        assert_eq!(host(&of_both), Some("north.example.org"));
        assert!(!is_tls(&of_both));
        assert!(is_tls(&asked(&[("x-forwarded-proto", "HTTPS")])));
        let neither = asked(&[("forwarded", "host=south.example.org;proto=https")]);
        assert_eq!((host(&neither), is_tls(&neither)), (None, false));
    }
}
