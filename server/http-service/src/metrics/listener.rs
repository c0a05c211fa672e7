//! Where the figures are served: on a listener of their own, so that the port that everybody reaches tells nobody how much the
//! team works. It asks nobody who they are: whoever starts the program says where it listens, and keeps others from there.

use std::net::TcpListener;

use actix_web::dev::Server;
use actix_web::http::header::{CACHE_CONTROL, X_CONTENT_TYPE_OPTIONS};
use actix_web::middleware::DefaultHeaders;
use actix_web::{App, HttpResponse, HttpServer, web};
use store::Health;

use super::{Metrics, exposition};
use crate::office::Office;

/// The media type of the text form.
///
/// # Source
///
/// OpenMetrics 1.0.0, "Content Type" (from memory).
pub(super) const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Serves the figures at `/metrics` until the server is told to stop. Signals are left to the service itself, so that it can be
/// watched while it ends.
pub(crate) fn serve(office: Office, listener: TcpListener) -> std::io::Result<Server> {
    let server = HttpServer::new(move || {
        App::new()
            .app_data(office.clone())
            .wrap(
                DefaultHeaders::new()
                    .add((X_CONTENT_TYPE_OPTIONS, "nosniff"))
                    .add((CACHE_CONTROL, "no-store")),
            )
            .route("/metrics", web::get().to(tell))
            .route("/metrics", web::head().to(tell))
    });
    Ok(server.workers(1).disable_signals().shutdown_timeout(1).listen(listener)?.run())
}

async fn tell(office: Office) -> HttpResponse {
    office.metrics.look(&office);
    exposition(&office.metrics)
}

fn whole(count: impl TryInto<i64>) -> i64 {
    count.try_into().unwrap_or(i64::MAX)
}

impl Metrics {
    /// Looks up what is not counted as it happens.
    fn look(&self, office: &Office) {
        let programmes = office.store.programmes();
        let records: u64 =
            programmes.iter().filter_map(|id| office.store.tree(id)).map(|head| head.size).sum();
        self.now.streams.set(whole(office.listeners.count()));
        self.now.programmes.set(whole(programmes.len()));
        self.now.records.set(whole(records));
        self.now.writing.set(i64::from(matches!(office.store.health(), Health::Writing)));
        self.now.process.look();
    }
}
