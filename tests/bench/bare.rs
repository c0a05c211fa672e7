//! A handler that sends the same bytes to whoever asks, and does nothing else: as fast as the framework goes.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// Sends the bytes of a file until it is killed.
pub fn answer(bytes: &Path) {
    use actix_web::{App, HttpResponse, HttpServer, web};
    let body = web::Bytes::from(std::fs::read(bytes).unwrap());
    actix_web::rt::System::new().block_on(async move {
        let server = HttpServer::new(move || {
            let body = body.clone();
            App::new().default_service(web::to(move || {
                let body = body.clone();
                async move { HttpResponse::Ok().content_type("application/json").body(body) }
            }))
        })
        .workers(std::thread::available_parallelism().map_or(2, usize::from))
        .bind("127.0.0.1:0")
        .unwrap();
        println!("http://{}", server.addrs()[0]);
        server.run().await.unwrap();
    });
}

/// Such a handler in a process of its own.
pub struct Bare {
    child: Child,
    pub base: String,
    _file: tempfile::NamedTempFile,
}

impl Bare {
    pub fn sending(bytes: &[u8]) -> Self {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(bytes).unwrap();
        let mut child = Command::new(std::env::current_exe().unwrap())
            .arg("--bare")
            .arg(file.path())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Self { child, base: line.trim().to_owned(), _file: file }
    }
}

impl Drop for Bare {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
