//! Which house a request is for. Each organisation is a whole house of its own: its own ledger, accounts, keys, sessions and
//! files, told apart by the name of the host that was asked for. This is the only place in which that is decided, and a handler
//! has nothing but the [`Office`] of that one house. So nothing of one can show in another: there is no question that could
//! forget to leave the others out.

use std::collections::BTreeMap;
use std::sync::Arc;

use actix_web::HttpRequest;
use actix_web::http::header::HOST;
use store::Store;

use crate::forwarded;
use crate::host_name::HostName;
use crate::office::{Office, Premises};
use crate::problem::{MISDIRECTED, Problem};

/// An organisation with a house of its own.
#[derive(Debug)]
pub struct Organisation {
    /// The name of the host by which it is asked for.
    pub host: HostName,
    /// What it is called where people sign in; none where nobody said so.
    pub name: Option<String>,
    /// Its ledger and all else.
    pub store: Store,
    /// How the backup gets on that is kept up beside; none where none is.
    pub backup: Option<store::BackupWatch>,
}

/// The houses of a process. Clones share everything.
#[derive(Clone)]
pub(crate) struct Houses(Arc<Directory>);

struct Directory {
    premises: Premises,
    doors: Doors,
}

enum Doors {
    /// One house, whatever host was asked for.
    One(Office),
    /// A house for each name, and none for any other.
    ByHost(BTreeMap<HostName, Office>),
}

impl Houses {
    /// One house that answers to every name.
    pub fn one(premises: Premises, office: Office) -> Self {
        Self(Arc::new(Directory { premises, doors: Doors::One(office) }))
    }

    /// A house for each of these names.
    pub fn by_host(premises: Premises, offices: BTreeMap<HostName, Office>) -> Self {
        Self(Arc::new(Directory { premises, doors: Doors::ByHost(offices) }))
    }

    /// What all of them share.
    pub fn premises(&self) -> &Premises {
        &self.0.premises
    }

    /// The house that a request is for.
    ///
    /// # Errors
    ///
    /// The same for every host that is none's, so that nobody learns from it which there are.
    pub fn of(&self, request: &HttpRequest) -> Result<&Office, Problem> {
        let offices = match &self.0.doors {
            Doors::One(office) => return Ok(office),
            Doors::ByHost(offices) => offices,
        };
        let behind_proxy = self.premises().settings.behind_proxy;
        asked_for(offices, request, behind_proxy).ok_or_else(|| {
            Problem::new(
                MISDIRECTED,
                "Nothing is served under the name of the host that was asked for. Check the address; whoever runs the server knows the right one.",
            )
        })
    }

    /// The house that is there for whoever asks, where it is the only one.
    pub fn alone(&self) -> Option<&Office> {
        match &self.0.doors {
            Doors::One(office) => Some(office),
            Doors::ByHost(_) => None,
        }
    }

    /// Every house, with its host where it has one.
    pub fn all(&self) -> Box<dyn Iterator<Item = (Option<&HostName>, &Office)> + '_> {
        match &self.0.doors {
            Doors::One(office) => Box::new(std::iter::once((None, office))),
            Doors::ByHost(offices) => {
                Box::new(offices.iter().map(|(host, office)| (Some(host), office)))
            }
        }
    }
}

/// The authority under which whoever asks reached us, as a proxy of ours or their own request tells it.
pub(crate) fn authority(request: &HttpRequest, behind_proxy: bool) -> String {
    let told = if behind_proxy { forwarded::host(request) } else { None };
    let of_header = || request.headers().get(HOST).and_then(|host| host.to_str().ok());
    told.or_else(of_header).or_else(|| in_target(request)).unwrap_or_default().to_owned()
}

/// Whether a proxy of ours tells that TLS was spoken with it.
pub(crate) fn proxied_over_tls(request: &HttpRequest, behind_proxy: bool) -> bool {
    behind_proxy && forwarded::is_tls(request)
}

/// The authority in what is asked for itself: always in HTTP/2, seldom before.
fn in_target(request: &HttpRequest) -> Option<&str> {
    request.uri().authority().map(|authority| authority.as_str())
}

/// What a request is for, of what there is under each name. Where a proxy passes on a host of which a client could have written
/// the header, and the host that was asked for is another one's, it is for neither.
fn asked_for<'a, T>(
    there: &'a BTreeMap<HostName, T>,
    request: &HttpRequest,
    behind_proxy: bool,
) -> Option<&'a T> {
    let host = host(request, behind_proxy)?;
    let direct = authority(request, false);
    let is_of_another = HostName::of_authority(&direct)
        .is_some_and(|direct| direct != host && there.contains_key(&direct));
    if is_of_another { None } else { there.get(&host) }
}

/// The host that is asked for. A request that names two is for neither.
fn host(request: &HttpRequest, behind_proxy: bool) -> Option<HostName> {
    let mut named = request.headers().get_all(HOST);
    let (first, None) = (named.next(), named.next()) else { return None };
    let host = HostName::of_authority(&authority(request, behind_proxy))?;
    let agrees = first.is_none()
        || behind_proxy
        || in_target(request)
            .is_none_or(|target| HostName::of_authority(target).as_ref() == Some(&host));
    agrees.then_some(host)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use actix_web::test::TestRequest;

    use super::*;

    fn named(host: Option<HostName>) -> Option<String> {
        host.map(|host| host.to_string())
    }

    #[test]
    fn the_host_is_the_one_that_was_asked_for_and_a_proxy_is_believed_only_where_it_is_ours() {
        let asked = |of: TestRequest, behind| named(host(&of.to_http_request(), behind));
        let north =
            || TestRequest::get().uri("/").insert_header(("host", "North.example.org:8440"));
        assert_eq!(asked(north(), false).unwrap(), "north.example.org");
        assert_eq!(asked(north(), true).unwrap(), "north.example.org");
        let forwarded = || north().insert_header(("x-forwarded-host", "south.example.org"));
        assert_eq!(asked(forwarded(), false).unwrap(), "north.example.org");
        assert_eq!(asked(forwarded(), true).unwrap(), "south.example.org");
        let by_another_header = north().insert_header(("forwarded", "host=south.example.org"));
        assert_eq!(asked(by_another_header, true).unwrap(), "north.example.org");
        // As HTTP/2 has it.
        let target = || TestRequest::get().uri("https://north.example.org/who");
        assert_eq!(asked(target(), false).unwrap(), "north.example.org");
    }

    #[test]
    fn behind_a_proxy_nobody_comes_to_one_house_by_the_name_of_another() {
        let there: BTreeMap<HostName, u8> = [("north", 1), ("south", 2)]
            .map(|(name, it)| (format!("{name}.example.org").parse().unwrap(), it))
            .into();
        let asked = |host: &'static str, told: Option<&'static str>| {
            let mut request = TestRequest::get().uri("/").insert_header(("host", host));
            if let Some(told) = told {
                request = request.insert_header(("x-forwarded-host", told));
            }
            asked_for(&there, &request.to_http_request(), true).copied()
        };
        assert_eq!(asked("north.example.org", None), Some(1));
        assert_eq!(asked("10.0.0.7:8440", Some("south.example.org")), Some(2));
        assert_eq!(asked("north.example.org", Some("north.example.org")), Some(1));
        assert_eq!(asked("north.example.org", Some("south.example.org")), None);
        assert_eq!(asked("10.0.0.7:8440", Some("east.example.org")), None);
    }

    #[test]
    fn a_request_that_names_two_hosts_or_none_is_for_no_house() {
        let asked = |of: TestRequest| named(host(&of.to_http_request(), false));
        let two = TestRequest::get()
            .uri("/")
            .append_header(("host", "north.example.org"))
            .append_header(("host", "south.example.org"));
        assert_eq!(asked(two), None);
        let other = TestRequest::get()
            .uri("http://south.example.org/")
            .insert_header(("host", "north.example.org"));
        assert_eq!(asked(other), None);
        assert_eq!(asked(TestRequest::get().uri("/")), None);
    }
}
