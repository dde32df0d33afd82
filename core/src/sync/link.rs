use std::fmt;
use std::str::FromStr;

use data_encoding::HEXLOWER_PERMISSIVE;

use crate::record::InvalidRecord;

/// The SHA-256 hash of a server's public key, in the form that certificates carry it in
/// (SubjectPublicKeyInfo). RFC 7469, 2.4, says why it is the key that is pinned and not the
/// certificate: the certificate can be renewed under it.
pub type Pin = [u8; 32];

/// An invite as a link, to be shown as a QR code or sent by message:
/// `https://192.0.2.7:4680/#invite=CODE&pin=HEX`.
///
/// What follows `#` stays on the device that opens the link (RFC 9110, 7.1): no server on the way
/// and no log ever sees it. It holds a secret, so it has no `Debug`.
#[derive(Clone, PartialEq, Eq)]
pub struct InviteLink {
    /// The server's address, without a slash at its end.
    pub url: String,
    /// The code of the invite.
    pub code: String,
    /// The key that the server must have, where it has a certificate of its own making.
    pub pin: Option<Pin>,
}

impl fmt::Display for InviteLink {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/#invite={}", self.url, self.code)?;
        match &self.pin {
            Some(pin) => write!(f, "&pin={}", pin_text(pin)),
            None => Ok(()),
        }
    }
}

/// A pin as 64 hexadecimal digits.
pub fn pin_text(pin: &Pin) -> String {
    data_encoding::HEXLOWER.encode(pin)
}

/// Reads a pin.
///
/// # Errors
/// Names what is allowed.
pub fn read_pin(text: &str) -> Result<Pin, InvalidRecord> {
    HEXLOWER_PERMISSIVE
        .decode(text.as_bytes())
        .ok()
        .and_then(|bytes| bytes.try_into().ok())
        .ok_or_else(|| InvalidRecord::new("pin", format!("{text:?}"), "allowed are 64 hex digits"))
}

impl FromStr for InviteLink {
    type Err = InvalidRecord;

    fn from_str(text: &str) -> Result<InviteLink, InvalidRecord> {
        // The value is a secret and is not repeated.
        let wrong = |allowed: &str| InvalidRecord::new("invite link", "it", allowed.to_string());
        let (url, rest) = text.trim().split_once('#').ok_or_else(|| {
            wrong("allowed is a link such as https://192.0.2.7:4680/#invite=CODE&pin=HEX")
        })?;
        let url = url.trim_end_matches('/').to_string();
        let (mut code, mut pin) = (None, None);
        for part in rest.split('&') {
            match part.split_once('=') {
                Some(("invite", text)) => code = Some(text.to_string()),
                Some(("pin", text)) => pin = Some(read_pin(text)?),
                // A later version may say more.
                _ => {}
            }
        }
        let code = code
            .filter(|code| !code.is_empty())
            .ok_or_else(|| wrong("allowed is a link with invite=CODE after the #"))?;
        if pin.is_some() && !url.starts_with("https://") {
            return Err(wrong("allowed with a pin is only an https:// address"));
        }
        Ok(InviteLink { url, code, pin })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_come_back() {
        for pin in [None, Some([0xa7; 32])] {
            let link = InviteLink {
                url: "https://192.0.2.7:4680".into(),
                code: "abc".into(),
                pin,
            };
            assert!(link.to_string().parse() == Ok(link.clone()), "{link}");
            let more = format!(" {link}&later=x ");
            assert!(more.parse() == Ok(link));
        }
    }

    #[test]
    fn others_are_refused_without_repeating_the_code() {
        let pin = "a7".repeat(32);
        for text in [
            "".to_string(),
            "https://192.0.2.7".into(),
            "https://192.0.2.7/#".into(),
            "https://192.0.2.7/#invite=".into(),
            "https://192.0.2.7/#invite=secretcode&pin=12".into(),
            format!("http://192.0.2.7/#invite=secretcode&pin={pin}"),
        ] {
            match text.parse::<InviteLink>() {
                Err(e) => assert!(!e.to_string().contains("secretcode"), "{e}"),
                Ok(_) => panic!("{text}"),
            }
        }
    }
}
