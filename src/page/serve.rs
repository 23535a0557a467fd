//! Connections in, a bounded number at a time, each with a limit on how long a request's head may take.

use super::answer::Failed;
use super::bench::{Bench, Settings};
use super::gate::{Ends, Pass};
use super::routes::router;
use crate::{Error, Result};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::future::Future;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Semaphore;

/// Connections at a time; more wait in the system's queue. A phone's browser opens six.
const CONNECTIONS: usize = 256;
/// Longest time for the head of a request.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// Requests that compute wait in queues of their own, so that few threads are enough.
const THREADS: usize = 16;

/// A page that is ready to be served: its port is taken.
#[derive(Debug)]
pub(crate) struct Listening {
    listener: TcpListener,
    bench: Arc<Bench>,
    port: u16,
}

impl Listening {
    /// Takes the port.
    ///
    /// # Errors
    /// Another program has it; the machine has no random numbers.
    pub(crate) fn bind(settings: Settings) -> Result<Self> {
        let address = if settings.lan {
            Ipv4Addr::UNSPECIFIED
        } else {
            Ipv4Addr::LOCALHOST
        };
        let wanted = SocketAddr::from((address, settings.port));
        let taken = |source: std::io::Error| {
            Error::usage(format!(
                "port {} cannot be had ({source}); is the page served already? Another one: --port 7400",
                wanted.port()
            ))
        };
        let listener = TcpListener::bind(wanted).map_err(taken)?;
        listener.set_nonblocking(true).map_err(taken)?;
        let port = listener.local_addr().map_err(taken)?.port();
        let no_secrets = |_: Failed| Error::usage("the machine gives no random numbers for a code");
        Ok(Self {
            listener,
            bench: Arc::new(Bench::new(settings).map_err(no_secrets)?),
            port,
        })
    }

    /// The port that was taken.
    pub(crate) const fn port(&self) -> u16 {
        self.port
    }

    /// The codes that let in, where the page is open to the network.
    pub(crate) fn pass(&self) -> Option<Pass> {
        self.bench.gate.is_lan().then(|| self.bench.gate.pass())
    }

    /// Serves until `stop` comes.
    ///
    /// # Errors
    /// The system has no threads or connections to give.
    pub(crate) fn serve(self, stop: impl Future<Output = ()>) -> Result<()> {
        let failed = |source| Error::machine(Path::new("the page's port"), source);
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .max_blocking_threads(THREADS)
            .build()
            .map_err(failed)?;
        let served = runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener).map_err(failed)?;
            tokio::select! {
                () = accept(listener, self.bench) => {}
                () = stop => {}
            }
            Ok(())
        });
        // What is being written is written; what is being read need not be waited for.
        runtime.shutdown_timeout(Duration::from_secs(5));
        served
    }
}

async fn accept(listener: tokio::net::TcpListener, bench: Arc<Bench>) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let router = router(bench);
    loop {
        let Ok(place) = Arc::clone(&places).acquire_owned().await else {
            return;
        };
        let Ok((stream, there)) = listener.accept().await else {
            // Too many open files, most likely: some are closed in a moment.
            tokio::time::sleep(Duration::from_millis(100)).await;
            continue;
        };
        let Ok(here) = stream.local_addr() else {
            continue;
        };
        let _ = stream.set_nodelay(true);
        let ends = Ends { here, there };
        let service = router.clone().layer(axum::Extension(ends));
        tokio::spawn(async move {
            let mut connection = http1::Builder::new();
            connection.timer(TokioTimer::new());
            connection.header_read_timeout(HEAD_TIME);
            connection.max_buf_size(64 * 1024);
            let service = TowerToHyperService::new(service);
            // A phone that went away is nobody's failure.
            let _ = connection
                .serve_connection(TokioIo::new(stream), service)
                .await;
            drop(place);
        });
    }
}

/// The addresses at which others of the network may find this machine. Nothing is sent: the system only says which of its
/// own addresses it would send from.
pub(crate) fn own_addresses() -> Vec<IpAddr> {
    let mut found = Vec::new();
    for far in [
        "192.0.2.1:9",
        "10.255.255.254:9",
        "192.168.255.254:9",
        "172.31.255.254:9",
    ] {
        let own = UdpSocket::bind("0.0.0.0:0").and_then(|socket| {
            socket.connect(far)?;
            socket.local_addr()
        });
        if let Ok(own) = own
            && !own.ip().is_loopback()
            && !own.ip().is_unspecified()
            && !found.contains(&own.ip())
        {
            found.push(own.ip());
        }
    }
    found
}
