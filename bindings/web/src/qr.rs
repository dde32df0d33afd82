//! Squares for a camera.

use pointdown_core::farm::{ErrorKind, FarmError};
use qrcodegen::{QrCode, QrCodeEcc};
use serde_json::{Value, json};

/// The modules of a QR symbol row by row, `1` for dark. The screen draws the quiet zone round it.
pub(crate) fn modules(text: &str) -> Result<Value, FarmError> {
    let symbol = QrCode::encode_text(text, QrCodeEcc::Medium)
        .map_err(|_| FarmError::new(ErrorKind::Invalid, "this text is too long for a symbol"))?;
    let row = |y| -> String {
        (0..symbol.size())
            .map(|x| if symbol.get_module(x, y) { '1' } else { '0' })
            .collect()
    };
    let rows: Vec<String> = (0..symbol.size()).map(row).collect();
    Ok(json!(rows))
}
