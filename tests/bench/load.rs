//! Asks the same thing again and again over kept-alive connections.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// One request, ready to be sent.
pub struct Target {
    address: String,
    request: Vec<u8>,
}

impl Target {
    /// Reads a path.
    pub fn get(base: &str, path: &str, token: Option<&str>) -> Self {
        Self::new(base, &format!("GET {path} HTTP/1.1\r\nhost: bench\r\n{}\r\n", bearer(token)))
    }

    /// Posts JSON to a path.
    pub fn post(base: &str, path: &str, token: Option<&str>, body: &str) -> Self {
        let head = format!(
            "POST {path} HTTP/1.1\r\nhost: bench\r\ncontent-type: application/json\r\ncontent-length: {}\r\n{}\r\n{body}",
            body.len(),
            bearer(token)
        );
        Self::new(base, &head)
    }

    fn new(base: &str, request: &str) -> Self {
        let address = base.trim_start_matches("http://").trim_end_matches('/').to_owned();
        Self { address, request: request.as_bytes().to_vec() }
    }

    /// Answers a second that so many clients get, each asking as soon as it was answered.
    pub fn rate(&self, clients: usize, lasting: Duration) -> f64 {
        let began = Instant::now();
        let answered: usize = std::thread::scope(|scope| {
            let clients: Vec<_> =
                (0..clients).map(|_| scope.spawn(|| self.ask_for(began, lasting))).collect();
            clients.into_iter().map(|client| client.join().expect("a client ends")).sum()
        });
        answered as f64 / began.elapsed().as_secs_f64()
    }

    fn ask_for(&self, began: Instant, lasting: Duration) -> usize {
        let stream = TcpStream::connect(&self.address).expect("the service listens");
        stream.set_nodelay(true).expect("the connection can be set up");
        let mut writer = stream.try_clone().expect("the connection can be shared");
        let mut reader = BufReader::with_capacity(64 * 1024, stream);
        let (mut answered, mut line, mut body) = (0, String::new(), Vec::new());
        while began.elapsed() < lasting {
            writer.write_all(&self.request).expect("the request is sent");
            let mut length = 0;
            line.clear();
            reader.read_line(&mut line).expect("an answer comes");
            assert!(line.contains(" 20"), "answered with {line}");
            loop {
                line.clear();
                reader.read_line(&mut line).expect("the head goes on");
                if line == "\r\n" {
                    break;
                }
                let lower = line.to_ascii_lowercase();
                if let Some(value) = lower.strip_prefix("content-length:") {
                    length = value.trim().parse().expect("a length");
                }
            }
            body.resize(length, 0);
            reader.read_exact(&mut body).expect("the body comes");
            answered += 1;
        }
        answered
    }
}

fn bearer(token: Option<&str>) -> String {
    token.map(|token| format!("authorization: Bearer {token}\r\n")).unwrap_or_default()
}
