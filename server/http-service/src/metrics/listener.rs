//! Where the figures are served: on a listener of their own, so that the port that everybody reaches tells nobody how much the
//! team works. It asks nobody who they are: whoever starts the program says where it listens, and keeps others from there. Beside
//! them it tells whether the program lives, and whether every house of it works; a house's own host tells that of the house alone.

use std::net::TcpListener;

use actix_web::dev::Server;
use actix_web::http::header::{CACHE_CONTROL, X_CONTENT_TYPE_OPTIONS};
use actix_web::middleware::DefaultHeaders;
use actix_web::{App, HttpResponse, HttpServer, web};
use store::Health;

use super::{Metrics, exposition};
use crate::api::health;
use crate::desk::Answer;
use crate::houses::Houses;

/// The media type of the text form.
///
/// # Source
///
/// OpenMetrics 1.0.0, "Content Type" (from memory).
pub(super) const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Serves the figures at `/metrics` until the server is told to stop. Signals are left to the service itself, so that it can be
/// watched while it ends.
pub(crate) fn serve(houses: Houses, listener: TcpListener) -> std::io::Result<Server> {
    let server = HttpServer::new(move || {
        App::new()
            .app_data(web::Data::new(houses.clone()))
            .wrap(
                DefaultHeaders::new()
                    .add((X_CONTENT_TYPE_OPTIONS, "nosniff"))
                    .add((CACHE_CONTROL, "no-store")),
            )
            .route("/metrics", web::get().to(tell))
            .route("/metrics", web::head().to(tell))
            .route("/health/live", web::get().to(live))
            .route("/health/ready", web::get().to(ready))
    });
    Ok(server.workers(1).disable_signals().shutdown_timeout(1).listen(listener)?.run())
}

async fn tell(houses: web::Data<Houses>) -> HttpResponse {
    let metrics = &houses.premises().metrics;
    metrics.look(&houses);
    exposition(metrics)
}

async fn live(houses: web::Data<Houses>) -> Answer {
    health::lives(&houses.premises().settings)
}

async fn ready(houses: web::Data<Houses>) -> Answer {
    health::all_ready(&houses).await
}

fn whole(count: impl TryInto<i64>) -> i64 {
    count.try_into().unwrap_or(i64::MAX)
}

impl Metrics {
    /// Looks up what is not counted as it happens.
    fn look(&self, houses: &Houses) {
        let (mut streams, mut programmes, mut records, mut all_write) = (0, 0, 0_u64, true);
        for (_, office) in houses.all() {
            let of_house = office.store.programmes();
            streams += office.listeners.count();
            programmes += of_house.len();
            records += of_house
                .iter()
                .filter_map(|id| office.store.tree(id))
                .map(|head| head.size)
                .sum::<u64>();
            all_write &= matches!(office.store.health(), Health::Writing);
        }
        self.now.streams.set(whole(streams));
        self.now.programmes.set(whole(programmes));
        self.now.records.set(whole(records));
        self.now.writing.set(i64::from(all_write));
        self.now.process.look();
    }
}
