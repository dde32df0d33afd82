//! HTTPS to a server that made its own certificate: what is checked is its public key, against the
//! hash that came with the invite. No certificate authority, name or date is looked at; whoever
//! holds the key is the server that the inviting person meant.

use std::io::{Read as _, Write as _};
use std::sync::Arc;

use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::{
    WebPkiSupportedAlgorithms, ring, verify_tls12_signature, verify_tls13_signature,
};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{ClientConfig, ClientConnection, DigitallySignedStruct, SignatureScheme, StreamOwned};
use sha2::{Digest as _, Sha256};
use ureq::unversioned::transport::{
    Buffers, ConnectionDetails, Connector, LazyBuffers, NextTimeout, Transport, TransportAdapter,
};

use crate::sync::Pin;

/// Wraps a TCP connection in TLS and lets only the server with the pinned key through.
#[derive(Debug)]
pub(super) struct Pinned(Arc<ClientConfig>);

impl Pinned {
    pub(super) fn new(pin: Pin) -> Result<Pinned, rustls::Error> {
        let provider = Arc::new(ring::default_provider());
        let verifier = Verifier {
            pin,
            algorithms: provider.signature_verification_algorithms,
        };
        let config = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()?
            .dangerous()
            .with_custom_certificate_verifier(Arc::new(verifier))
            .with_no_client_auth();
        Ok(Pinned(Arc::new(config)))
    }
}

impl<In: Transport> Connector<In> for Pinned {
    type Out = Tls;

    fn connect(
        &self,
        details: &ConnectionDetails<'_>,
        chained: Option<In>,
    ) -> Result<Option<Tls>, ureq::Error> {
        let Some(tcp) = chained else {
            return Ok(None);
        };
        if !details.needs_tls() {
            return Err(ureq::Error::Tls(
                "a pinned server is spoken to over https only",
            ));
        }
        let host = details.uri.host().unwrap_or_default();
        let name = ServerName::try_from(host.trim_matches(['[', ']']).to_string())
            .map_err(|_| ureq::Error::Tls("the server's name in the address cannot be used"))?;
        let mut conn = ClientConnection::new(self.0.clone(), name)?;
        let mut sock = TransportAdapter::new(tcp.boxed(), details.current_time.clone());
        sock.set_timeout(details.timeout);
        conn.complete_io(&mut sock)?;
        let config = details.config;
        Ok(Some(Tls {
            buffers: LazyBuffers::new(config.input_buffer_size(), config.output_buffer_size()),
            stream: StreamOwned { conn, sock },
        }))
    }
}

/// A connection under TLS.
pub(super) struct Tls {
    buffers: LazyBuffers,
    stream: StreamOwned<ClientConnection, TransportAdapter>,
}

impl std::fmt::Debug for Tls {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Tls")
    }
}

impl Transport for Tls {
    fn buffers(&mut self) -> &mut dyn Buffers {
        &mut self.buffers
    }

    fn transmit_output(&mut self, amount: usize, timeout: NextTimeout) -> Result<(), ureq::Error> {
        self.stream.sock.set_timeout(timeout);
        self.stream.write_all(&self.buffers.output()[..amount])?;
        Ok(())
    }

    fn await_input(&mut self, timeout: NextTimeout) -> Result<bool, ureq::Error> {
        self.stream.sock.set_timeout(timeout);
        let amount = self.stream.read(self.buffers.input_append_buf())?;
        self.buffers.input_appended(amount);
        Ok(amount > 0)
    }

    fn is_open(&mut self) -> bool {
        self.stream.sock.get_mut().is_open()
    }

    fn is_tls(&self) -> bool {
        true
    }
}

#[derive(Debug)]
struct Verifier {
    pin: Pin,
    algorithms: WebPkiSupportedAlgorithms,
}

impl ServerCertVerifier for Verifier {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        _intermediates: &[CertificateDer<'_>],
        _server_name: &ServerName<'_>,
        _ocsp_response: &[u8],
        _now: UnixTime,
    ) -> Result<ServerCertVerified, rustls::Error> {
        let certificate = webpki::EndEntityCert::try_from(end_entity)
            .map_err(|e| rustls::Error::General(format!("the certificate cannot be read: {e}")))?;
        let found: Pin = Sha256::digest(certificate.subject_public_key_info()).into();
        if found != self.pin {
            return Err(rustls::Error::General(
                "its key is another one than the invite names; this may be another server that \
                 pretends to be yours"
                    .into(),
            ));
        }
        Ok(ServerCertVerified::assertion())
    }

    // That the server holds the key, not just the certificate, is what these two check.
    fn verify_tls12_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        verify_tls12_signature(message, cert, dss, &self.algorithms)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, rustls::Error> {
        verify_tls13_signature(message, cert, dss, &self.algorithms)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.algorithms.supported_schemes()
    }
}
