//! TLS of the program's own: whom a phone trusts, what it is shown first, and what is never served without being asked for.

use std::io::{Read, Write};
use std::process::{Command, Output};
use std::sync::Arc;
use std::time::{Duration, Instant};

use sha2::Digest;

use crate::harness::{PASSWORD, PROGRAM, Server};

/// Somebody whose phone trusts these authorities and no other.
fn phone(trusted: &[&[u8]]) -> ureq::Agent {
    let certificates: Vec<_> =
        trusted.iter().map(|der| ureq::tls::Certificate::from_der(der).to_owned()).collect();
    let tls = ureq::tls::TlsConfig::builder()
        .root_certs(ureq::tls::RootCerts::Specific(Arc::new(certificates)))
        .unversioned_rustls_crypto_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .build();
    ureq::Agent::config_builder().http_status_as_error(false).tls_config(tls).build().new_agent()
}

/// The word in what the server said that begins so.
fn told(server: &Server, beginning: &str) -> String {
    let began = Instant::now();
    loop {
        let said = server.said();
        if let Some(word) = said.split_whitespace().find(|word| word.starts_with(beginning)) {
            return word.trim_end_matches([',', '.']).to_owned();
        }
        assert!(began.elapsed() < Duration::from_secs(20), "nothing with {beginning} in: {said}");
        std::thread::yield_now();
    }
}

fn fetched(agent: &ureq::Agent, address: &str) -> Vec<u8> {
    agent.get(address).call().unwrap().body_mut().read_to_vec().unwrap()
}

#[test]
fn a_phone_that_took_the_certificate_reaches_the_service_and_no_other_does() {
    let server =
        Server::fresh_serving(&["--tls", "--listen", "127.0.0.1:0", "--trust-page", "127.0.0.1:0"]);
    assert!(server.base.starts_with("https://"), "{}", server.base);
    let nobody = phone(&[]);
    let page = told(&server, "http://");

    let shown = String::from_utf8(fetched(&nobody, &page)).unwrap();
    let certificate = fetched(&nobody, &format!("{page}/authority.crt"));

    let fingerprint: Vec<_> =
        sha2::Sha256::digest(&certificate).iter().map(|byte| format!("{byte:02X}")).collect();
    let fingerprint = fingerprint.join(":");
    assert!(shown.contains(&fingerprint) && server.said().contains(&fingerprint));
    assert!(shown.contains(&format!("href=\"{}\"", server.base)), "the page leads to the service");
    let health = format!("{}/api/v1/health/ready", server.base);
    assert!(nobody.get(&health).call().is_err(), "an unknown authority is not trusted");
    assert_eq!(phone(&[&certificate]).get(&health).call().unwrap().status(), 200);
}

#[test]
fn the_authority_stays_the_same_from_start_to_start() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    Server::begin(&data);
    let before = std::fs::read(data.join("tls/authority.pem")).unwrap();
    assert!(!String::from_utf8_lossy(&before).contains("PRIVATE"));

    let server = Server::serve(&data);

    assert!(server.base.starts_with("http://"), "plain HTTP serves this machine alone");
    assert_eq!(before, std::fs::read(data.join("tls/authority.pem")).unwrap());
}

/// A server that speaks with a certificate from elsewhere, for `localhost`.
struct Given {
    certificate: Vec<u8>,
    base: String,
    _server: Server,
}

impl Given {
    fn served() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let made = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap();
        let [certificate, key] =
            ["given.pem", "given-key.pem"].map(|name| folder.path().join(name));
        std::fs::write(&certificate, made.cert.pem()).unwrap();
        std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
        let [certificate, key] = [&certificate, &key].map(|path| path.to_str().unwrap());
        let given = ["--listen", "127.0.0.1:0", "--certificate", certificate, "--key", key];
        let server = Server::fresh_serving(&given);
        let base = format!("https://localhost:{}", server.base.rsplit(':').next().unwrap());
        Self { certificate: made.cert.der().to_vec(), base, _server: server }
    }
}

#[test]
fn files_that_were_given_are_spoken_with() {
    let given = Given::served();

    let health = format!("{}/api/v1/health/ready", given.base);
    assert_eq!(phone(&[&given.certificate]).get(&health).call().unwrap().status(), 200);
}

#[test]
fn over_tls_the_cookie_is_secure_and_browsers_themselves_keep_it_to_this_host() {
    let given = Given::served();
    let agent = phone(&[&given.certificate]);
    let form = format!("to=%2F&handle=keeper&password={}", PASSWORD.replace(' ', "+"));
    let asked = agent.post(format!("{}/sign-in", given.base)).header("origin", &given.base);
    let asked = asked.header("content-type", "application/x-www-form-urlencoded");
    let answer = asked.config().max_redirects(0).build().send(form).unwrap();
    assert_eq!(answer.status(), 303);
    let cookie = answer.headers().get("set-cookie").unwrap().to_str().unwrap();
    assert!(cookie.starts_with("__Host-rungbook="), "{cookie}");
    for said in ["; Secure", "; HttpOnly", "; SameSite=Strict", "; Path=/"] {
        assert!(cookie.contains(said), "{said} in {cookie}");
    }
    assert!(!cookie.contains("Domain"), "{cookie}");
}

/// A greeting of TLS as RFC 2246 and 5246 have it (from memory), of one version at most.
fn greeting(most: [u8; 2]) -> Vec<u8> {
    // ECDHE with ECDSA, AES with CBC for the old and with GCM for the new; the groups, points and signatures that go with them.
    let suites = [0, 4, 0xC0, 0x09, 0xC0, 0x2B];
    let extensions =
        [0, 10, 0, 4, 0, 2, 0, 23, 0, 11, 0, 2, 1, 0, 0, 13, 0, 4, 0, 2, 4, 3].as_slice();
    let many = u8::try_from(extensions.len()).unwrap();
    let hello =
        [&most, [7; 32].as_slice(), &[0], &suites, &[1, 0], &[0, many], extensions].concat();
    let length = u8::try_from(hello.len()).unwrap();
    [&[0x16, 3, 1, 0, length + 4, 1, 0, 0, length], hello.as_slice()].concat()
}

#[test]
fn older_versions_of_tls_are_refused() {
    let given = Given::served();
    let address = given.base.replace("https://localhost", "127.0.0.1");
    let answered = |most: [u8; 2]| {
        let mut stream = std::net::TcpStream::connect(&address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        stream.write_all(&greeting(most)).unwrap();
        let mut answer = [0; 7];
        stream.read_exact(&mut answer).unwrap();
        (answer[0], answer[5], answer[6])
    };
    // The same greeting of 1.2 is answered with the server's own.
    assert_eq!(answered([3, 3]).0, 0x16);
    for older in [[3, 1], [3, 2]] {
        // A fatal alert: this version is not spoken.
        assert_eq!(answered(older), (0x15, 2, 70), "{older:?}");
    }
}

/// What every kind of answer says of coming back over TLS: one of the API, a page, one that leads on, and none.
fn comes_back(agent: &ureq::Agent, base: &str, told: &[(&str, &str)]) -> Vec<Option<String>> {
    ["/api/v1/health/ready", "/sign-in", "/", "/no/such/page", "/api/v1/account"]
        .map(|path| {
            let mut request = agent.get(format!("{base}{path}"));
            for (name, value) in told {
                request = request.header(*name, *value);
            }
            let answer = request.config().max_redirects(0).build().call().unwrap();
            let said = answer.headers().get("strict-transport-security");
            said.map(|value| value.to_str().unwrap().to_owned())
        })
        .to_vec()
}

#[test]
fn browsers_are_told_to_come_back_over_tls_only_where_others_vouch_for_the_certificate() {
    let a_year = vec![Some("max-age=31536000".to_owned()); 5];
    let nothing = vec![None; 5];
    let given = Given::served();
    assert_eq!(comes_back(&phone(&[&given.certificate]), &given.base, &[]), a_year);

    // A phone that lost its trust in a folder's own authority has to get to the page without TLS that helps it.
    let own =
        Server::fresh_serving(&["--tls", "--listen", "127.0.0.1:0", "--trust-page", "127.0.0.1:0"]);
    let authority = fetched(&phone(&[]), &format!("{}/authority.crt", told(&own, "http://")));
    assert_eq!(comes_back(&phone(&[&authority]), &own.base, &[]), nothing);

    let over_tls = [("x-forwarded-proto", "https")];
    let plain = Server::fresh();
    assert_eq!(comes_back(&phone(&[]), &plain.base, &over_tls), nothing, "no proxy of ours");
    let proxied = Server::fresh_serving(&["--behind-proxy", "--listen", "127.0.0.1:0"]);
    assert_eq!(comes_back(&phone(&[]), &proxied.base, &over_tls), a_year);
    let without = [("x-forwarded-proto", "http")];
    assert_eq!(comes_back(&phone(&[]), &proxied.base, &without), nothing);
    assert_eq!(comes_back(&phone(&[]), &proxied.base, &[]), nothing);
}

fn refused(arguments: &[&str]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    Server::begin(&data);
    let Output { status, stderr, .. } =
        Command::new(PROGRAM).args(arguments).arg("--data").arg(&data).output().unwrap();
    assert_eq!(status.code(), Some(2), "{arguments:?}");
    String::from_utf8(stderr).unwrap()
}

#[test]
fn other_machines_are_not_served_without_tls_unless_that_was_asked_for_by_name() {
    let words = refused(&["serve", "--listen", "0.0.0.0:0"]);

    for word in ["--tls", "--certificate", "--behind-proxy", "--plain-http", "passwords"] {
        assert!(words.contains(word), "{word} in {words}");
    }
}

#[test]
fn files_and_names_that_cannot_be_used_are_told_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let broken = folder.path().join("broken.pem");
    std::fs::write(&broken, "no certificate").unwrap();
    let path = broken.to_str().unwrap();

    let words =
        refused(&["serve", "--listen", "127.0.0.1:0", "--certificate", path, "--key", path]);
    assert!(words.contains("broken.pem"), "{words}");
    let words = refused(&["serve", "--listen", "127.0.0.1:0", "--tls", "--name", "bank.example"]);
    assert!(words.contains("bank.example") && words.contains("--certificate"), "{words}");
}
