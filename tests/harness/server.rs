//! A running program and people who speak to it.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::database::{drop_database_of, program, program_at, program_joining};
use super::{Answer, SettableClock};

/// The program's path.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_rungbook");

/// The password of everybody in the stories.
pub const PASSWORD: &str = "a long password for stories";

/// The password that the demonstration prints.
pub const DEMONSTRATION_PASSWORD: &str = "one rung at a time";

/// A running program with a folder of its own.
pub struct Server {
    child: Child,
    /// Where it answers.
    pub base: String,
    /// Its folder.
    pub data: PathBuf,
    folder: Option<tempfile::TempDir>,
    said: Arc<Mutex<String>>,
}

impl Server {
    /// A fresh server with more on its command line.
    pub fn fresh_serving(arguments: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let data = folder.path().join("data");
        Self::begin(&data);
        let mut server = Self::run(&data, &[&["serve"], arguments].concat());
        server.folder = Some(folder);
        server
    }

    /// What the program wrote on standard output so far, without the line that tells where it answers.
    pub fn said(&self) -> String {
        self.said.lock().expect("nobody failed while a line was kept").clone()
    }

    /// What the program wrote on standard output, once it has written this.
    #[track_caller]
    pub fn says_within_a_moment(&self, text: &str) -> String {
        let began = Instant::now();
        loop {
            let said = self.said();
            if said.contains(text) {
                return said;
            }
            assert!(began.elapsed() < Duration::from_secs(30), "\"{text}\" was not said: {said}");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// The demonstration, in a fresh folder, where its ledger is as well.
    pub fn demonstration() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let data = folder.path().join("data");
        super::demonstration::copied_into(&data);
        let mut server = Self::demonstration_in(&data);
        server.folder = Some(folder);
        server
    }

    /// Another server on the database of this one, with a folder of its own.
    pub fn joined_by_another(&self, postgres: &str) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let data = folder.path().join("data");
        let mut program = program_joining(&data, &self.data, postgres);
        program.args(["serve", "--listen", "127.0.0.1:0"]);
        Self::start(&data, program, Stdio::inherit()).keeping(folder)
    }

    /// As [`Server::joined_by_another`], with the files of recordings in a folder that both have.
    pub fn joined_sharing(&self, recordings: &Path, postgres: &str) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let data = folder.path().join("data");
        std::fs::create_dir(&data).expect("a folder can be made");
        std::os::unix::fs::symlink(recordings, data.join("recordings"))
            .expect("a link can be made");
        let mut program = program_joining(&data, &self.data, postgres);
        program.args(["serve", "--listen", "127.0.0.1:0"]);
        Self::start(&data, program, Stdio::inherit()).keeping(folder)
    }

    /// Starts a server that joined another one's database again, on its own folder.
    pub fn join_again(&mut self, first: &Path, postgres: &str) {
        let mut program = program_joining(&self.data, first, postgres);
        program.args(["serve", "--listen", "127.0.0.1:0"]);
        let mut again = Self::start(&self.data, program, Stdio::inherit());
        again.folder = self.folder.take();
        *self = again;
    }

    /// The demonstration in a folder, where it is made if it is not there.
    pub fn demonstration_in(data: &Path) -> Self {
        let mut program = program();
        program.args(["demo", "--listen", "127.0.0.1:0", "--data"]).arg(data);
        Self::start(data, program, Stdio::inherit())
    }

    /// A fresh server with one administrator, `keeper`.
    pub fn fresh() -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let data = folder.path().join("data");
        Self::begin(&data);
        let mut server = Self::serve(&data);
        server.folder = Some(folder);
        server
    }

    /// Makes a folder with one administrator, `keeper`.
    pub fn begin(data: &Path) {
        let init = ["init", "--administrator", "keeper", "--name", "The Keeper"];
        let made = Self::command(data, &init);
        assert!(made.status.success(), "init: {}", String::from_utf8_lossy(&made.stderr));
    }

    /// Serves a folder that exists.
    pub fn serve(data: &Path) -> Self {
        Self::serve_with(data, &[])
    }

    /// Serves a folder that exists, with more flags.
    pub fn serve_with(data: &Path, flags: &[&str]) -> Self {
        Self::run(data, &[&["serve", "--listen", "127.0.0.1:0"], flags].concat())
    }

    /// Serves a folder that exists and writes its log of this level into a file, one JSON object a line.
    pub fn serve_logging(data: &Path, level: &str, into: &Path) -> Self {
        let log = std::fs::File::create(into).expect("the log can be written");
        let arguments = ["serve", "--listen", "127.0.0.1:0", "--log-format", "json"];
        let mut program = program_at(data);
        program.args(arguments).env("RUNGBOOK_LOG", level);
        Self::start(data, program, log.into())
    }

    /// Serves a folder that exists, whose database is reached by another way.
    pub fn serve_from(data: &Path, postgres: &str) -> Self {
        let mut program = program_joining(data, data, postgres);
        program.args(["serve", "--listen", "127.0.0.1:0"]);
        Self::start(data, program, Stdio::inherit())
    }

    /// Serves a folder that exists, by another clock than the machine's, and as if behind a proxy.
    pub fn serve_by(clock: &SettableClock, data: &Path) -> Self {
        let mut program = program_at(data);
        clock.of(program.args(["serve", "--listen", "127.0.0.1:0", "--behind-proxy"]));
        Self::start(data, program, Stdio::inherit())
    }

    fn run(data: &Path, arguments: &[&str]) -> Self {
        let mut program = program_at(data);
        program.args(arguments);
        Self::start(data, program, Stdio::inherit())
    }

    /// Starts a program that was told everything, and waits until it answers.
    pub fn start(data: &Path, mut program: Command, log: Stdio) -> Self {
        let mut child =
            program.stdout(Stdio::piped()).stderr(log).spawn().expect("the program starts");
        // The program says where it answers once it does.
        let stdout = child.stdout.take().expect("standard output is piped");
        let mut lines = BufReader::new(stdout);
        let mut line = String::new();
        let base = loop {
            line.clear();
            let read = lines.read_line(&mut line).expect("the program's output can be read");
            assert!(read > 0, "the program ended before it served");
            let address = line.split_whitespace().find(|word| word.starts_with("http"));
            if let Some(address) = address {
                break address.trim_end_matches(['/', '.']).to_owned();
            }
        };
        let said = Arc::new(Mutex::new(String::new()));
        let kept = Arc::clone(&said);
        std::thread::spawn(move || {
            // Keep reading, so that the program never waits for a full pipe.
            let mut rest = String::new();
            while lines.read_line(&mut rest).is_ok_and(|read| read > 0) {
                if let Ok(mut said) = kept.lock() {
                    said.push_str(&rest);
                }
                rest.clear();
            }
        });
        Self { child, base, data: data.to_owned(), folder: None, said }
    }

    /// Keeps the folder until the server is gone.
    pub fn keeping(mut self, folder: tempfile::TempDir) -> Self {
        self.folder = Some(folder);
        self
    }

    /// Kills it at once, as `kill -9` does, and starts it again on the same folder.
    pub fn kill_and_serve_again(mut self) -> Self {
        self.kill();
        let mut again = Self::serve(&self.data);
        again.folder = self.folder.take();
        again
    }

    /// Kills it at once.
    pub fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Asks it to end, as a service manager does, and waits until it has.
    pub fn ends_when_asked(&mut self) {
        self.is_asked_to_end();
        let ended = self.child.wait().expect("the program can be waited for");
        assert!(ended.success(), "the program ended with {ended}");
    }

    /// Asks it to end, as a service manager does, while others still speak to it.
    pub fn is_asked_to_end(&self) {
        let asked = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(asked.is_ok_and(|status| status.success()), "the program can be asked to end");
    }

    /// Waits until it has ended, and no longer than that.
    #[track_caller]
    pub fn ends_within(&mut self, longest: Duration) {
        let began = Instant::now();
        loop {
            if let Some(ended) = self.child.try_wait().expect("the program can be waited for") {
                assert!(ended.success(), "the program ended with {ended}");
                return;
            }
            assert!(began.elapsed() < longest, "the program had not ended after {longest:?}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Kills it at once while others still speak to it.
    pub fn kill_now(&self) {
        let killed = Command::new("kill").args(["-9", &self.child.id().to_string()]).status();
        assert!(killed.is_ok_and(|status| status.success()), "the program can be killed");
    }

    /// The process number.
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// Somebody who has not signed in.
    pub fn stranger(&self) -> Client {
        Client::new(&self.base)
    }

    /// Signs in with the stories' password.
    #[track_caller]
    pub fn sign_in(&self, handle: &str) -> Client {
        self.sign_in_with(handle, PASSWORD)
    }

    /// Signs in to the demonstration, where everybody has the same password.
    #[track_caller]
    pub fn sign_in_to_demonstration(&self, handle: &str) -> Client {
        self.sign_in_with(handle, DEMONSTRATION_PASSWORD)
    }

    /// Signs in from an address of its own each time, to a server that believes it: whoever signs in often is made to wait.
    #[track_caller]
    pub fn sign_in_from_elsewhere(&self, handle: &str) -> Client {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let address = format!("2001:db8:{:x}::1", COUNT.fetch_add(1, Ordering::Relaxed));
        Self::signed_in(self.stranger().with("x-forwarded-for", &address), handle, PASSWORD)
    }

    /// Signs in.
    #[track_caller]
    pub fn sign_in_with(&self, handle: &str, password: &str) -> Client {
        Self::signed_in(self.stranger(), handle, password)
    }

    #[track_caller]
    fn signed_in(mut client: Client, handle: &str, password: &str) -> Client {
        let answer = client
            .post("/api/v1/sessions", json!({ "handle": handle, "password": password }))
            .has_status(201);
        let token = answer.json()["access_token"].as_str().expect("a token").to_owned();
        client.token = Some(token);
        client
    }

    /// Runs the program as a command on this server's folder; the server must not be running.
    pub fn command(data: &Path, arguments: &[&str]) -> std::process::Output {
        program_at(data)
            .args(arguments)
            .env("RUNGBOOK_PASSWORD", PASSWORD)
            .output()
            .expect("the program starts")
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.kill();
        if self.folder.is_some() {
            drop_database_of(&self.data);
        }
    }
}

/// Somebody with an HTTP client.
#[derive(Clone)]
pub struct Client {
    agent: ureq::Agent,
    pub(super) base: String,
    /// The access token, once signed in.
    pub token: Option<String>,
    /// Headers to send with the next requests.
    pub headers: Vec<(String, String)>,
    heard: Option<Heard>,
    sends_again: bool,
}

/// Every answer that some people got, in order.
pub type Heard = Arc<Mutex<Vec<Answer>>>;

impl Client {
    fn new(base: &str) -> Self {
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .build()
            .new_agent();
        Self {
            agent,
            base: base.to_owned(),
            token: None,
            headers: Vec::new(),
            heard: None,
            sends_again: false,
        }
    }

    /// The same person, speaking to another server.
    pub fn speaking_to(&self, server: &Server) -> Self {
        let mut other = Self::new(&server.base);
        other.token.clone_from(&self.token);
        other.heard.clone_from(&self.heard);
        other.sends_again = self.sends_again;
        other
    }

    /// The same person, speaking to whoever is at another address.
    pub fn speaking_at(&self, base: &str) -> Self {
        let mut other = Self::new(base);
        other.token.clone_from(&self.token);
        other
    }

    /// The same person with one more header.
    pub fn with(&self, name: &str, value: &str) -> Self {
        let mut other = self.clone();
        other.headers.push((name.to_owned(), value.to_owned()));
        other
    }

    /// The same person, asking for another host at the same address.
    pub fn at_host(&self, host: &str) -> Self {
        let mut other = self.clone();
        other.headers.retain(|(name, _)| name != "host");
        other.headers.push(("host".to_owned(), host.to_owned()));
        other
    }

    /// The same person, with each answer kept from now on.
    pub fn heard_by(&self, heard: &Heard) -> Self {
        let mut other = self.clone();
        other.heard = Some(Arc::clone(heard));
        other
    }

    /// The same person, who sends each POST with an Idempotency-Key, and sends it again where it was done. The second
    /// answer must be the first one.
    pub fn sending_again(&self) -> Self {
        let mut other = self.clone();
        other.sends_again = true;
        other
    }

    /// Reads.
    #[track_caller]
    pub fn get(&self, path: &str) -> Answer {
        self.send("GET", path, None)
    }

    /// Posts JSON.
    #[track_caller]
    pub fn post(&self, path: &str, body: Value) -> Answer {
        self.send("POST", path, Some(("application/json", body.to_string())))
    }

    /// Puts JSON.
    #[track_caller]
    pub fn put(&self, path: &str, body: Value) -> Answer {
        self.send("PUT", path, Some(("application/json", body.to_string())))
    }

    /// Deletes.
    #[track_caller]
    pub fn delete(&self, path: &str) -> Answer {
        self.send("DELETE", path, None)
    }

    /// Sends anything.
    #[track_caller]
    pub fn send(&self, method: &str, path: &str, body: Option<(&str, String)>) -> Answer {
        if method != "POST" || !self.sends_again {
            return self.send_once(method, path, body);
        }
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let key = format!("story-{}", COUNT.fetch_add(1, Ordering::Relaxed));
        let keyed = self.with("idempotency-key", &key);
        let first = keyed.send_once(method, path, body.clone());
        if (200..300).contains(&first.status) {
            keyed.send_once(method, path, body).is_again(&first);
        }
        first
    }

    #[track_caller]
    fn send_once(&self, method: &str, path: &str, body: Option<(&str, String)>) -> Answer {
        self.try_send(method, path, body)
            .unwrap_or_else(|error| panic!("{method} {path}: no answer: {error}"))
    }

    /// Sends bytes; an error where no answer came.
    pub fn try_send_bytes(
        &self,
        method: &str,
        path: &str,
        kind: &str,
        bytes: &[u8],
    ) -> Result<Answer, ureq::Error> {
        self.exchange(method, path, Some((kind, bytes)))
    }

    /// Sends anything; an error where no answer came, as when the program is killed.
    pub fn try_send(
        &self,
        method: &str,
        path: &str,
        body: Option<(&str, String)>,
    ) -> Result<Answer, ureq::Error> {
        let body = body.as_ref().map(|(kind, text)| (*kind, text.as_bytes()));
        self.exchange(method, path, body)
    }

    fn exchange(
        &self,
        method: &str,
        path: &str,
        body: Option<(&str, &[u8])>,
    ) -> Result<Answer, ureq::Error> {
        let mut request =
            ureq::http::Request::builder().method(method).uri(format!("{}{path}", self.base));
        if let Some(token) = &self.token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        for (name, value) in &self.headers {
            request = request.header(name, value);
        }
        let asked = format!("{method} {path}");
        let mut reply = match body {
            Some((kind, bytes)) => {
                let request = request.header("content-type", kind).body(bytes)?;
                self.agent.run(request)?
            }
            None => self.agent.run(request.body(())?)?,
        };
        let headers = reply
            .headers()
            .iter()
            .map(|(name, value)| {
                (name.as_str().to_owned(), value.to_str().unwrap_or_default().to_owned())
            })
            .collect();
        let status = reply.status().as_u16();
        // A reply may be a file of bytes; what tests ask of it is text, or where it begins and ends.
        let bytes = reply.body_mut().with_config().limit(64 << 20).read_to_vec()?;
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let answer = Answer { asked, status, headers, text, bytes };
        if path != "/metrics" {
            answer.is_dressed();
        }
        if let Some(heard) = &self.heard {
            heard.lock().expect("nobody failed while an answer was kept").push(answer.clone());
        }
        Ok(answer)
    }
}
