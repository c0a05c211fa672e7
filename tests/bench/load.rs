//! Asks the same thing again and again over kept-alive connections.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// One request, ready to be sent.
#[derive(Clone)]
pub struct Target {
    address: String,
    request: Vec<u8>,
}

/// A connection over which one asks after the other was answered.
struct Connection {
    reader: BufReader<TcpStream>,
    writer: TcpStream,
    line: String,
    body: Vec<u8>,
}

impl Target {
    /// Reads a path, with more headers, each ended by CR LF.
    pub fn get(base: &str, path: &str, headers: &str) -> Self {
        Self::new(base, &format!("GET {path} HTTP/1.1\r\nhost: {}\r\n{headers}\r\n", host(base)))
    }

    /// Posts JSON to a path.
    pub fn post(base: &str, path: &str, headers: &str, body: &str) -> Self {
        let head = format!(
            "POST {path} HTTP/1.1\r\nhost: {}\r\ncontent-type: application/json\r\ncontent-length: {}\r\n{headers}\r\n{body}",
            host(base),
            body.len(),
        );
        Self::new(base, &head)
    }

    fn new(base: &str, request: &str) -> Self {
        let address = host(base).to_owned();
        Self { address, request: request.as_bytes().to_vec() }
    }

    /// Answers a second that so many clients get, each asking as soon as it was answered.
    pub fn rate(&self, clients: usize, lasting: Duration) -> f64 {
        let began = Instant::now();
        let answered = self.ask(clients, || began.elapsed() < lasting);
        answered as f64 / began.elapsed().as_secs_f64()
    }

    /// Asks so many times, by so many clients at once.
    pub fn times(&self, clients: usize, times: usize) {
        let asked = AtomicUsize::new(0);
        self.ask(clients, || asked.fetch_add(1, Ordering::Relaxed) < times);
    }

    fn ask(&self, clients: usize, goes_on: impl Fn() -> bool + Sync) -> usize {
        let ask_for = || {
            let (mut connection, mut answered) = (self.connect(), 0);
            while goes_on() {
                connection.ask(&self.request);
                answered += 1;
            }
            answered
        };
        std::thread::scope(|scope| {
            let clients: Vec<_> = (0..clients).map(|_| scope.spawn(ask_for)).collect();
            clients.into_iter().map(|client| client.join().expect("a client ends")).sum()
        })
    }

    /// How long answers took, in milliseconds, where so many clients ask once in a while each until it is over.
    ///
    /// It is counted from when a client meant to ask: one that was kept waiting by its last answer has waited since then.
    pub fn waits_ms(
        &self,
        clients: usize,
        every: Duration,
        over: impl Fn() -> bool + Sync,
    ) -> Vec<f64> {
        let began = Instant::now();
        let ask_for = |number: usize| {
            let (mut connection, mut waits) = (self.connect(), Vec::new());
            let mut next = began + every.mul_f64(number as f64 / clients as f64);
            loop {
                std::thread::sleep(next.saturating_duration_since(Instant::now()));
                if over() {
                    return waits;
                }
                connection.ask(&self.request);
                waits.push(next.elapsed().as_secs_f64() * 1e3);
                next += every;
            }
        };
        std::thread::scope(|scope| {
            let ask_for = &ask_for;
            let clients: Vec<_> =
                (0..clients).map(|number| scope.spawn(move || ask_for(number))).collect();
            clients.into_iter().flat_map(|client| client.join().expect("a client ends")).collect()
        })
    }

    fn connect(&self) -> Connection {
        let stream = TcpStream::connect(&self.address).expect("the service listens");
        stream.set_nodelay(true).expect("the connection can be set up");
        let writer = stream.try_clone().expect("the connection can be shared");
        let reader = BufReader::with_capacity(64 * 1024, stream);
        Connection { reader, writer, line: String::new(), body: Vec::new() }
    }
}

impl Connection {
    fn ask(&mut self, request: &[u8]) {
        let Self { reader, writer, line, body } = self;
        writer.write_all(request).expect("the request is sent");
        let mut length = 0;
        line.clear();
        reader.read_line(line).expect("an answer comes");
        assert!(line.contains(" 20"), "answered with {line}");
        loop {
            line.clear();
            reader.read_line(line).expect("the head goes on");
            if line == "\r\n" {
                break;
            }
            line.make_ascii_lowercase();
            if let Some(value) = line.strip_prefix("content-length:") {
                length = value.trim().parse().expect("a length");
            }
        }
        body.resize(length, 0);
        reader.read_exact(body).expect("the body comes");
    }
}

/// Host and port of an address, by which a browser's cookie is known, too.
fn host(base: &str) -> &str {
    base.trim_start_matches("http://").trim_end_matches('/')
}
