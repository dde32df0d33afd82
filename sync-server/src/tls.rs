//! Certificates: given ones, or one of the server's own making whose key native phones pin. Either
//! is taken up again while the server runs.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::{Duration, SystemTime};

use chrono::Datelike as _;
use pointdown_core::farm::Env;
use pointdown_core::record::Instant;
use pointdown_core::sync::Pin;
use rcgen::{CertificateParams, DistinguishedName, DnType, KeyPair, PublicKeyData as _};
use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;
use sha2::{Digest as _, Sha256};

use crate::store::private_folder;

/// Where the certificate comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Tls {
    /// PEM files (RFC 7468) that someone else renews.
    Files {
        /// The certificate and those that lead to its authority, in this order.
        cert: PathBuf,
        /// Its private key.
        key: PathBuf,
    },
    /// The server makes its own and keeps it in a folder.
    Own {
        /// The folder, `tls` in the data folder.
        folder: PathBuf,
        /// The names and addresses by which browsers reach the server.
        names: Vec<String>,
    },
}

/// Why there is no certificate.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// A file cannot be read or written, or holds something else.
    #[error("{path}: {why}")]
    File {
        /// Which one.
        path: PathBuf,
        /// Why.
        why: String,
    },
    /// Certificate and key cannot be used.
    #[error("the certificate cannot be used: {0}")]
    Unusable(#[from] rustls::Error),
    /// No certificate could be made.
    #[error("no certificate could be made: {0}")]
    Make(#[from] rcgen::Error),
}

/// How many days a certificate of the server's own making is good for. Browsers that are told to
/// trust it allow no more than 398 (CA/Browser Forum, Baseline Requirements, 6.3.2).
const GOOD_DAYS: i64 = 397;

/// How many days before its end it is renewed, under the same key.
const RENEW_DAYS: i64 = 30;

const DAY_MS: i64 = 24 * 60 * 60 * 1000;

impl Tls {
    fn file(path: &Path, why: impl std::fmt::Display) -> TlsError {
        TlsError::File {
            path: path.into(),
            why: why.to_string(),
        }
    }

    /// Reads or makes certificate and key.
    fn load(&self, now: i64) -> Result<(CertifiedKey, Option<Pin>), TlsError> {
        let (cert, key, pin) = match self {
            Tls::Files { cert, key } => (cert.clone(), key.clone(), None),
            Tls::Own { folder, names } => {
                let pin = make_own(folder, names, now)?;
                (folder.join("cert.pem"), folder.join("key.pem"), Some(pin))
            }
        };
        let chain = CertificateDer::pem_file_iter(&cert)
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(|e| Tls::file(&cert, e))?;
        if chain.is_empty() {
            return Err(Tls::file(&cert, "there is no certificate in it"));
        }
        let key = PrivateKeyDer::from_pem_file(&key).map_err(|e| Tls::file(&key, e))?;
        // Refuses a key that does not belong to the certificate.
        let certified = CertifiedKey::from_der(chain, key, &ring::default_provider())?;
        Ok((certified, pin))
    }

    /// What tells whether the files changed.
    fn stamp(&self) -> Vec<Option<(SystemTime, u64)>> {
        let Tls::Files { cert, key } = self else {
            return Vec::new();
        };
        [cert, key]
            .map(|path| {
                let meta = std::fs::metadata(path).ok()?;
                Some((meta.modified().ok()?, meta.len()))
            })
            .to_vec()
    }
}

/// The pin of the key in the folder of a server's own certificate, if there is one.
///
/// # Errors
/// [`TlsError`] where the key is there and cannot be read.
pub fn own_pin(folder: &Path) -> Result<Option<Pin>, TlsError> {
    let path = folder.join("key.pem");
    match std::fs::read_to_string(&path) {
        Ok(pem) => Ok(Some(pin_of(&KeyPair::from_pem(&pem)?))),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(Tls::file(&path, e)),
    }
}

fn pin_of(key: &KeyPair) -> Pin {
    Sha256::digest(key.subject_public_key_info()).into()
}

/// Makes key and certificate where there is none, or a fresh certificate where it will not do any
/// more. Text before the certificate (RFC 7468, 5.2, allows it) says until when and for what it is.
fn make_own(folder: &Path, names: &[String], now: i64) -> Result<Pin, TlsError> {
    private_folder(folder).map_err(|e| Tls::file(folder, e))?;
    let (key_file, cert_file) = (folder.join("key.pem"), folder.join("cert.pem"));
    let key = match std::fs::read_to_string(&key_file) {
        Ok(pem) => KeyPair::from_pem(&pem)?,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            let key = KeyPair::generate()?;
            write_private(&key_file, key.serialize_pem().as_bytes())
                .map_err(|e| Tls::file(&key_file, e))?;
            key
        }
        Err(e) => return Err(Tls::file(&key_file, e)),
    };
    let made_for = format!("for {}", names.join(" "));
    let will_do = std::fs::read_to_string(&cert_file).is_ok_and(|text| {
        let mut lines = text.lines();
        let until = lines
            .next()
            .and_then(|l| l.strip_prefix("until ")?.parse::<i64>().ok());
        lines.next() == Some(made_for.as_str())
            && until.is_some_and(|until| until - now > RENEW_DAYS * DAY_MS)
    });
    if !will_do {
        let until = now + GOOD_DAYS * DAY_MS;
        let mut params = CertificateParams::new(names.to_vec())?;
        let day = |ms: i64| {
            let day = Instant::from_ms(ms).utc().date_naive();
            rcgen::date_time_ymd(day.year(), day.month() as u8, day.day() as u8)
        };
        params.not_before = day(now - DAY_MS);
        params.not_after = day(until);
        params.distinguished_name = DistinguishedName::new();
        params
            .distinguished_name
            .push(DnType::CommonName, "Pointdown");
        let pem = params.self_signed(&key)?.pem();
        let text = format!("until {until}\n{made_for}\n{pem}");
        let fresh = folder.join("cert.new");
        std::fs::write(&fresh, text)
            .and_then(|()| std::fs::rename(&fresh, &cert_file))
            .map_err(|e| Tls::file(&cert_file, e))?;
    }
    Ok(pin_of(&key))
}

/// Writes a file that only its owner may read.
fn write_private(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// The certificate that new connections get.
#[derive(Debug)]
pub(crate) struct Certificates {
    source: Tls,
    current: RwLock<Arc<CertifiedKey>>,
    stamp: Mutex<Vec<Option<(SystemTime, u64)>>>,
    pin: Option<Pin>,
}

impl Certificates {
    pub(crate) fn open(source: Tls, now: i64) -> Result<Arc<Certificates>, TlsError> {
        let stamp = Mutex::new(source.stamp());
        let (certified, pin) = source.load(now)?;
        Ok(Arc::new(Certificates {
            source,
            current: RwLock::new(Arc::new(certified)),
            stamp,
            pin,
        }))
    }

    /// The pin of the server's own key; nothing for a certificate that an authority answers for.
    pub(crate) fn pin(&self) -> Option<Pin> {
        self.pin
    }

    pub(crate) fn config(self: Arc<Certificates>) -> Result<rustls::ServerConfig, rustls::Error> {
        let mut config =
            rustls::ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
                .with_safe_default_protocol_versions()?
                .with_no_client_auth()
                .with_cert_resolver(self);
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(config)
    }

    /// Takes the certificate up again. Where it cannot be used, the one before stays.
    pub(crate) fn reload(&self, now: i64) {
        match self.source.load(now) {
            Ok((certified, _)) => {
                let mut current = self.current.write().unwrap_or_else(PoisonError::into_inner);
                if current.cert != certified.cert {
                    *current = Arc::new(certified);
                    tracing::info!("another certificate is in use from now on");
                }
            }
            Err(e) => tracing::error!(error = %e, "the certificate before stays in use"),
        }
    }

    fn changed(&self) -> bool {
        let stamp = self.source.stamp();
        let mut before = self.stamp.lock().unwrap_or_else(PoisonError::into_inner);
        let changed = *before != stamp;
        *before = stamp;
        changed || matches!(self.source, Tls::Own { .. })
    }

    /// Looks now and then, and at SIGHUP, whether there is a newer certificate. Never ends.
    pub(crate) async fn watch(&self, every: Duration, env: Arc<dyn Env>, hangup: &mut Hangup) {
        loop {
            tokio::select! {
                () = hangup.come() => self.reload(env.now().ms()),
                () = tokio::time::sleep(every) => {
                    if self.changed() {
                        self.reload(env.now().ms());
                    }
                }
            }
        }
    }
}

impl ResolvesServerCert for Certificates {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        let current = self.current.read().unwrap_or_else(PoisonError::into_inner);
        Some(current.clone())
    }
}

/// SIGHUP, from the moment on that this is made; without it the signal would end the process.
pub(crate) struct Hangup {
    #[cfg(unix)]
    signal: Option<tokio::signal::unix::Signal>,
}

impl Hangup {
    pub(crate) fn new() -> Hangup {
        Hangup {
            #[cfg(unix)]
            signal: tokio::signal::unix::signal(tokio::signal::unix::SignalKind::hangup()).ok(),
        }
    }

    /// Done at the next one; never where there are none.
    async fn come(&mut self) {
        #[cfg(unix)]
        if let Some(signal) = &mut self.signal
            && signal.recv().await.is_some()
        {
            return;
        }
        std::future::pending().await
    }
}
