//! Somebody who listens to a stream of events, line by line as it comes.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::time::Duration;

use super::Client;

/// A stream of events on its way.
pub struct Listener {
    lines: BufReader<TcpStream>,
    /// The status with which it began.
    pub status: u16,
    /// The headers, names in lower case.
    pub headers: Vec<(String, String)>,
}

/// What was heard next.
#[derive(Debug, PartialEq, Eq)]
pub enum Event {
    /// The ledger has so many records.
    Seq(u64),
    /// The stream was ended by the server, and whole.
    End,
    /// The connection broke off.
    BrokenOff,
}

impl Client {
    /// Begins to listen.
    #[track_caller]
    pub fn listens(&self, path: &str) -> Listener {
        let host = self.base.strip_prefix("http://").expect("a plain address");
        let mut socket = TcpStream::connect(host).expect("the server is there");
        socket.set_read_timeout(Some(Duration::from_secs(60))).expect("a limit can be set");
        let mut request = format!("GET {path} HTTP/1.1\r\nconnection: close\r\n");
        if !self.headers.iter().any(|(name, _)| name == "host") {
            request.push_str(&format!("host: {host}\r\n"));
        }
        for (name, value) in &self.headers {
            request.push_str(&format!("{name}: {value}\r\n"));
        }
        if let Some(token) = &self.token {
            request.push_str(&format!("authorization: Bearer {token}\r\n"));
        }
        request.push_str("\r\n");
        socket.write_all(request.as_bytes()).expect("the server reads");
        let mut lines = BufReader::new(socket);
        let mut line = String::new();
        lines.read_line(&mut line).expect("a status line");
        let status = line.split(' ').nth(1).and_then(|it| it.parse().ok()).expect("a status");
        let mut headers = Vec::new();
        loop {
            line.clear();
            lines.read_line(&mut line).expect("a header");
            let Some((name, value)) = line.trim().split_once(": ") else { break };
            headers.push((name.to_lowercase(), value.to_owned()));
        }
        Listener { lines, status, headers }
    }
}

impl Listener {
    /// Waits for the next event, or the end.
    #[track_caller]
    pub fn next(&mut self) -> Event {
        let mut line = String::new();
        loop {
            line.clear();
            match self.lines.read_line(&mut line) {
                Ok(0) => return Event::BrokenOff,
                Ok(_) => {}
                Err(error) => panic!("nothing was heard: {error}"),
            }
            let line = line.trim_end();
            if let Some(seq) = line.strip_prefix("data: {\"seq\":") {
                let seq = seq.trim_end_matches('}').parse().expect("a number");
                return Event::Seq(seq);
            }
            // The chunk of no length that ends a body.
            if line == "0" {
                return Event::End;
            }
        }
    }
}
