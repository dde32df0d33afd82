//! What tells a restored store from the one that phones remember.

use super::{Epoch, StoreError};

/// Sixteen random bytes.
pub(super) fn fresh_epoch() -> Result<Epoch, StoreError> {
    let mut epoch = [0u8; 16];
    getrandom::fill(&mut epoch)
        .map_err(|e| StoreError::Backend(format!("no randomness to be had: {e}")))?;
    Ok(epoch)
}
