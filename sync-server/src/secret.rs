//! Codes of invites and tokens of devices: random, shown once, kept only as hashes.

use data_encoding::{BASE32_NOPAD, HEXLOWER, HEXLOWER_PERMISSIVE};
use pointdown_core::farm::Env;
use sha2::{Digest as _, Sha256};

use crate::store::SecretHash;

/// A secret and its text. It has no `Debug`, so that it cannot end in a log by accident.
pub(crate) struct Secret {
    /// What is shown once.
    pub(crate) text: String,
    /// What is kept.
    pub(crate) hash: SecretHash,
}

/// A new token: 256 random bits as 64 hexadecimal digits.
pub(crate) fn new_token(env: &dyn Env) -> Secret {
    let mut bytes = [0u8; 32];
    env.fill(&mut bytes);
    Secret {
        text: HEXLOWER.encode(&bytes),
        hash: hash(&bytes),
    }
}

/// A new code of an invite: 128 random bits as 26 letters and digits (base 32, RFC 4648), lower
/// case, since people may have to type it.
pub(crate) fn new_code(env: &dyn Env) -> Secret {
    let mut bytes = [0u8; 16];
    env.fill(&mut bytes);
    Secret {
        text: BASE32_NOPAD.encode(&bytes).to_lowercase(),
        hash: hash(&bytes),
    }
}

/// The hash of a token as it came; nothing for what cannot be one.
pub(crate) fn token_hash(text: &str) -> Option<SecretHash> {
    let bytes = HEXLOWER_PERMISSIVE.decode(text.as_bytes()).ok()?;
    (bytes.len() == 32).then(|| hash(&bytes))
}

/// The hash of a code as a person typed it: case, spaces and hyphens do not matter.
pub(crate) fn code_hash(text: &str) -> Option<SecretHash> {
    if text.len() > 100 {
        return None;
    }
    let plain: String = text
        .chars()
        .filter(|c| !c.is_whitespace() && *c != '-')
        .map(|c| c.to_ascii_uppercase())
        .collect();
    let bytes = BASE32_NOPAD.decode(plain.as_bytes()).ok()?;
    (bytes.len() == 16).then(|| hash(&bytes))
}

/// The hash of a secret that whoever runs the server chose.
pub(crate) fn text_hash(text: &str) -> SecretHash {
    hash(text.as_bytes())
}

fn hash(bytes: &[u8]) -> SecretHash {
    Sha256::digest(bytes).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pointdown_core::farm::System;

    #[test]
    fn texts_come_back_to_their_hashes() {
        let token = new_token(&System);
        assert_eq!(token.text.len(), 64);
        assert_eq!(token_hash(&token.text), Some(token.hash));
        let code = new_code(&System);
        assert_eq!(code.text.len(), 26);
        assert_eq!(code_hash(&code.text), Some(code.hash));
        let typed = format!(" {}-{} ", code.text[..13].to_uppercase(), &code.text[13..]);
        assert_eq!(code_hash(&typed), Some(code.hash));
        assert_ne!(new_code(&System).text, code.text);
    }

    #[test]
    fn other_texts_have_none() {
        for text in [
            "",
            "abc",
            "0189",
            &"a".repeat(25),
            &"a".repeat(27),
            &"é".repeat(13),
        ] {
            assert_eq!(code_hash(text), None, "{text}");
        }
        for text in ["", "00", &"g".repeat(64), &"a".repeat(63), &"a".repeat(66)] {
            assert_eq!(token_hash(text), None, "{text}");
        }
    }

    /// RFC 6234 gives SHA-256("abc"); the hash here is plain SHA-256.
    #[test]
    fn the_hash_is_sha_256() {
        assert_eq!(
            HEXLOWER.encode(&hash(b"abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
