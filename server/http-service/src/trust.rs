//! The page without TLS that helps a phone trust a data folder's own authority. It serves that and nothing else.

use std::net::TcpListener;
use std::sync::Arc;

use actix_web::dev::Server;
use actix_web::http::header;
use actix_web::middleware::DefaultHeaders;
use actix_web::{App, HttpResponse, HttpServer, web};
use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::qr::qr_as_svg;

/// What the page tells.
#[derive(Debug, Clone)]
pub struct TrustPage {
    /// The authority's certificate (DER).
    pub authority: Vec<u8>,
    /// Its SHA-256, as phones show it.
    pub fingerprint: String,
    /// Where the service itself is.
    pub service: String,
}

const STYLE: &str = "body{font:1.1rem/1.5 system-ui,sans-serif;max-width:40rem;margin:0 auto;padding:1rem;color:#111;background:#fff}\
h1{font-size:1.5rem}code{word-break:break-all;font-size:1.05rem}a.big{display:block;padding:1rem;margin:1rem 0;border:3px solid #111;\
color:#111;font-weight:700;text-align:center;border-radius:.5rem}svg{max-width:14rem;height:auto}li{margin:.4rem 0}\
@media(prefers-color-scheme:dark){body{color:#f2f2f2;background:#111}a,a.big{color:#fff;border-color:#fff}svg{background:#fff}}";

const CERTIFICATE: &str = "/authority.crt";

impl TrustPage {
    /// Serves the page on a listener until the program ends.
    ///
    /// # Errors
    ///
    /// Where the listener cannot be used.
    pub fn serve(self, listener: TcpListener) -> std::io::Result<Server> {
        let page = Arc::new(self);
        let server = HttpServer::new(move || {
            App::new()
                .app_data(web::Data::from(Arc::clone(&page)))
                .wrap(
                    DefaultHeaders::new()
                        .add((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
                        .add((header::CACHE_CONTROL, "no-store"))
                        .add((header::REFERRER_POLICY, "no-referrer"))
                        .add((header::CONTENT_SECURITY_POLICY, policy())),
                )
                .route("/", web::get().to(shown))
                .route(CERTIFICATE, web::get().to(certificate))
        })
        .workers(1)
        .disable_signals()
        .listen(listener)?;
        Ok(server.run())
    }
}

fn policy() -> String {
    use base64::Engine;
    use sha2::Digest;
    let hash = base64::engine::general_purpose::STANDARD.encode(sha2::Sha256::digest(STYLE));
    format!(
        "default-src 'none'; style-src 'sha256-{hash}'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    )
}

async fn shown(page: web::Data<TrustPage>) -> HttpResponse {
    HttpResponse::Ok().insert_header(header::ContentType::html()).body(page.drawn().into_string())
}

async fn certificate(page: web::Data<TrustPage>) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "application/x-x509-ca-cert"))
        .insert_header((
            header::CONTENT_DISPOSITION,
            "attachment; filename=\"rungbook-authority.crt\"",
        ))
        .body(page.authority.clone())
}

impl TrustPage {
    fn drawn(&self) -> Markup {
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { "Trust this field's Rungbook" }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    h1 { "Trust this field's Rungbook" }
                    p { "This machine speaks TLS with certificates of its own, which no phone knows yet. Do this once on each phone, standing beside the machine:" }
                    ol {
                        li { a.big href=(CERTIFICATE) { "Take the certificate" } }
                        li { "Before you agree, compare the SHA-256 that the phone shows with the one on the machine's own screen, not with this page alone: this page came over a network that others may be on." br; code { (self.fingerprint) } }
                        li { "Apple: open Settings, install the profile that was downloaded, and switch it on under General, About, Certificate Trust Settings." }
                        li { "Android: open Settings, Security, Encryption and credentials, Install a certificate, CA certificate, and choose the downloaded file. Names of these menus differ from phone to phone." }
                        li { "Then go to " a href=(self.service) { (self.service) } "." }
                    }
                    @if let Ok(code) = qr_as_svg(&self.service) {
                        p { (PreEscaped(code)) }
                    }
                    p { "The certificate vouches only for private networks and local names. Take it off the phone when the programme is over." }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_shows_what_to_compare_and_where_to_go() {
        let page = TrustPage {
            authority: vec![1],
            fingerprint: "AB:CD".to_owned(),
            service: "https://192.168.7.7:8440".to_owned(),
        };

        let drawn = page.drawn().into_string();

        assert!(drawn.contains("AB:CD") && drawn.contains("href=\"https://192.168.7.7:8440\""));
        assert!(drawn.contains("<svg"), "a phone can be pointed at it");
    }
}
