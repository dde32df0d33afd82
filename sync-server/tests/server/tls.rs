//! Real handshakes: the pin that travels in the invite, other keys, renewal while the server runs.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use data_encoding::HEXLOWER;
use pointdown_core::farm::{Beginning, ErrorKind, Farm, FarmError, Join, Location, System};
use pointdown_core::record::{Draft, Kind};
use pointdown_core::sync::{InviteLink, Pin};
use pointdown_server::{Config, Tls, own_pin};
use rcgen::{CertificateParams, KeyPair, PublicKeyData as _};
use serde_json::json;
use sha2::{Digest as _, Sha256};

use crate::support::{Server, memory};

fn farm() -> Farm {
    let fields = json!({"name": "Larkfield", "zone": "Europe/Dublin"});
    let beginning = Beginning {
        farm: fields.as_object().unwrap().clone(),
        person: "Ada".into(),
        device: "Ada’s phone".into(),
    };
    Farm::begin(&Location::Memory, Arc::new(System), beginning).unwrap()
}

fn start(tls: Tls) -> Server {
    let made = match &tls {
        Tls::Own { folder, .. } => Some(folder.join("cert.pem")),
        Tls::Files { .. } => None,
    };
    let config = Config {
        tls: Some(tls),
        renewal: Duration::from_millis(30),
        ..Config::default()
    };
    let server = Server::with(memory(), config);
    // It listens a moment before it has made its certificate.
    let began = Instant::now();
    while let Some(cert) = &made
        && !cert.exists()
    {
        assert!(began.elapsed() < Duration::from_secs(20), "no certificate");
        std::thread::sleep(Duration::from_millis(5));
    }
    server
}

fn own(folder: &Path) -> Tls {
    Tls::Own {
        folder: folder.into(),
        names: vec!["localhost".into(), "127.0.0.1".into()],
    }
}

fn join(server: &Server, host: &str, pin: Option<Pin>) -> Result<Farm, FarmError> {
    let link = InviteLink {
        url: format!("https://{host}:{}", server.address.port()),
        code: server.invite(None),
        pin,
    };
    let farm = farm();
    farm.join(&Join {
        url: &link.to_string(),
        invite: "",
        device: "Ada’s phone",
    })?;
    Ok(farm)
}

fn refused(done: Result<Farm, FarmError>) -> String {
    match done {
        Ok(_) => panic!("it was let through"),
        Err(e) => {
            assert_eq!(e.kind, ErrorKind::Network, "{e}");
            e.to_string()
        }
    }
}

#[test]
fn a_phone_knows_the_server_by_the_key_in_the_invite() {
    let folder = tempfile::tempdir().unwrap();
    let server = start(own(folder.path()));
    let pin = own_pin(folder.path()).unwrap().unwrap();
    let farm = join(&server, "127.0.0.1", Some(pin)).unwrap();
    // The pin stays with the phone, and goes on in the invites that it asks for.
    farm.log(Draft::new(Kind::Person).with("name", "Ben"))
        .unwrap();
    assert_eq!(farm.sync().unwrap().waiting, 0);
    let link = farm.invite_link().unwrap();
    assert_eq!(link.pin, Some(pin));
    let second = Farm::join_new(
        &Location::Memory,
        Arc::new(System),
        &Join {
            url: &link.to_string(),
            invite: "",
            device: "Ben’s phone",
        },
        "Ben",
    )
    .unwrap();
    assert_eq!(second.id(), farm.id());
    farm.renew_token().unwrap();
    farm.sync().unwrap();
    let mut heard = 0;
    farm.listen(|| {
        heard += 1;
        false
    })
    .unwrap();
    assert_eq!(heard, 1, "the event stream goes through the same door");
    // A name that is in no certificate: it is the key that counts.
    join(&server, "localhost", Some(pin)).unwrap();
    // Another key, and no pin at all where no authority answers for the server.
    let mut other = pin;
    other[31] ^= 1;
    let why = refused(join(&server, "127.0.0.1", Some(other)));
    assert!(why.contains("another one than the invite names"), "{why}");
    let why = refused(join(&server, "127.0.0.1", None));
    assert!(why.contains("certificate"), "{why}");
    assert_eq!(server.store.farms().unwrap().len(), 2, "nobody else got in");
}

/// OpenSSL computes the hash of RFC 7469, 2.4, its own way, over what came through its own handshake.
#[test]
fn openssl_sees_the_same_key() {
    let folder = tempfile::tempdir().unwrap();
    let server = start(own(folder.path()));
    let pin = own_pin(folder.path()).unwrap().unwrap();
    let script = format!(
        "openssl s_client -connect 127.0.0.1:{} -alpn http/1.1 </dev/null 2>/dev/null \
         | openssl x509 -pubkey -noout | openssl pkey -pubin -outform der | sha256sum",
        server.address.port()
    );
    let out = Command::new("sh")
        .args(["-c", &script])
        .stderr(Stdio::null())
        .output();
    let out = String::from_utf8(out.unwrap().stdout).unwrap();
    let there = Command::new("openssl").arg("version").output().is_ok();
    if !there {
        eprintln!("SKIPPED: openssl is not installed");
        return;
    }
    assert_eq!(
        out.split_whitespace().next(),
        Some(HEXLOWER.encode(&pin).as_str())
    );
    let dates = format!(
        "openssl x509 -in {}/cert.pem -noout -checkend 31536000",
        folder.path().display()
    );
    let good = Command::new("sh")
        .args(["-c", &dates])
        .stdout(Stdio::null())
        .status()
        .unwrap();
    assert!(good.success(), "good for a year");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let key = std::fs::metadata(folder.path().join("key.pem")).unwrap();
        assert_eq!(key.permissions().mode() & 0o777, 0o600);
    }
}

/// The cookie of a screen that came over TLS goes nowhere else.
#[test]
fn a_screens_cookie_is_for_https_only() {
    let folder = tempfile::tempdir().unwrap();
    let server = start(own(folder.path()));
    let owner = join(&server, "127.0.0.1", own_pin(folder.path()).unwrap()).unwrap();
    let invite = owner.invite().unwrap();
    let answer = Command::new("curl")
        .args(["-sSki", "--max-time", "20", "-H", "pointdown-screen: 1"])
        .args(["-H", "content-type: application/json", "-d"])
        .arg(json!({ "invite": invite }).to_string())
        .arg(format!(
            "https://127.0.0.1:{}/kitchen/join",
            server.address.port()
        ))
        .output();
    let Ok(answer) = answer else {
        eprintln!("SKIPPED: curl is not installed");
        return;
    };
    let answer = String::from_utf8_lossy(&answer.stdout).to_lowercase();
    assert!(answer.starts_with("http/1.1 204"), "{answer}");
    let cookie = answer
        .lines()
        .find(|l| l.starts_with("set-cookie:"))
        .unwrap();
    assert!(
        cookie.ends_with("; httponly; samesite=strict; secure"),
        "{cookie}"
    );
}

/// RFC 7469 pins the key for this: a fresh certificate under it changes nothing for the phones.
#[test]
fn an_own_certificate_is_renewed_under_the_same_key() {
    let folder = tempfile::tempdir().unwrap();
    let cert = folder.path().join("cert.pem");
    let mut server = start(own(folder.path()));
    let (pin, first) = (
        own_pin(folder.path()).unwrap(),
        std::fs::read(&cert).unwrap(),
    );
    let farm = join(&server, "127.0.0.1", pin).unwrap();
    // As it will look when its end is near; the running server makes a fresh one.
    let text = String::from_utf8(first.clone()).unwrap();
    let (_, rest) = text.split_once('\n').unwrap();
    std::fs::write(&cert, format!("until 1000\n{rest}")).unwrap();
    let began = Instant::now();
    loop {
        let now = std::fs::read(&cert).unwrap();
        if now != first && !now.starts_with(b"until 1000\n") {
            break;
        }
        assert!(
            began.elapsed() < Duration::from_secs(10),
            "it is not renewed"
        );
        std::thread::sleep(Duration::from_millis(10));
    }
    farm.sync().unwrap();
    assert_eq!(own_pin(folder.path()).unwrap(), pin);
    server.stop();
    // Another name: another certificate, the same key.
    let second = std::fs::read(&cert).unwrap();
    let renamed = Tls::Own {
        folder: folder.path().into(),
        names: vec!["eggs.example".into()],
    };
    let server = start(renamed);
    join(&server, "127.0.0.1", pin).unwrap();
    assert_ne!(std::fs::read(&cert).unwrap(), second);
}

pub(crate) struct Files {
    pub(crate) cert: PathBuf,
    pub(crate) key: PathBuf,
}

impl Files {
    pub(crate) fn new(folder: &Path) -> Files {
        Files {
            cert: folder.join("given.pem"),
            key: folder.join("given.key"),
        }
    }

    /// A certificate as someone would put it there, and the hash of its key.
    pub(crate) fn put(&self) -> Pin {
        let key = KeyPair::generate().unwrap();
        let cert = CertificateParams::new(vec!["127.0.0.1".to_string()]).unwrap();
        std::fs::write(&self.cert, cert.self_signed(&key).unwrap().pem()).unwrap();
        std::fs::write(&self.key, key.serialize_pem()).unwrap();
        Sha256::digest(key.subject_public_key_info()).into()
    }

    fn tls(&self) -> Tls {
        Tls::Files {
            cert: self.cert.clone(),
            key: self.key.clone(),
        }
    }
}

#[test]
fn a_given_certificate_is_taken_up_again_without_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let files = Files::new(folder.path());
    let first = files.put();
    let server = start(files.tls());
    let farm = join(&server, "127.0.0.1", Some(first)).unwrap();
    // Half of a pair does not fit: the one before stays in use.
    let key = std::fs::read(&files.key).unwrap();
    files.put();
    std::fs::write(&files.key, &key).unwrap();
    std::thread::sleep(Duration::from_millis(200));
    farm.sync().unwrap();
    let second = files.put();
    let began = Instant::now();
    while join(&server, "127.0.0.1", Some(second)).is_err() {
        assert!(
            began.elapsed() < Duration::from_secs(10),
            "it is not taken up"
        );
    }
    let why = farm.sync().unwrap_err().to_string();
    assert!(why.contains("another one than the invite names"), "{why}");
}

#[test]
fn without_a_usable_certificate_it_does_not_start() {
    let folder = tempfile::tempdir().unwrap();
    let files = Files::new(folder.path());
    let try_it = || {
        let runtime = tokio::runtime::Runtime::new().unwrap();
        let config = Config {
            tls: Some(files.tls()),
            ..Config::default()
        };
        runtime.block_on(async {
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
            let done = pointdown_server::serve(config, listener, memory(), std::future::ready(()));
            done.await.map_err(|e| e.to_string())
        })
    };
    assert!(try_it().unwrap_err().contains("given.pem"));
    std::fs::write(&files.cert, "nothing").unwrap();
    std::fs::write(&files.key, "nothing").unwrap();
    assert!(try_it().is_err());
    files.put();
    let key = std::fs::read(&files.key).unwrap();
    files.put();
    std::fs::write(&files.key, key).unwrap();
    assert!(
        try_it().unwrap_err().contains("certificate"),
        "a key of another one"
    );
    files.put();
    assert_eq!(try_it(), Ok(()));
}

/// Neither speaks the other's language, and nothing is answered in the clear.
#[test]
fn plain_http_is_not_spoken_on_a_tls_port() {
    use std::io::{Read as _, Write as _};
    let folder = tempfile::tempdir().unwrap();
    let server = start(own(folder.path()));
    let mut stream = std::net::TcpStream::connect(server.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(10)))
        .unwrap();
    stream
        .write_all(b"GET / HTTP/1.1\r\nhost: x\r\n\r\n")
        .unwrap();
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    assert!(!answer.starts_with(b"HTTP"), "{answer:?}");
}
