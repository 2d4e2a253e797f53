//! Clips and stills on the disk, each under the hash of its content.

use super::error::RecordsError;
use super::store::Records;

impl Records {
    pub(super) fn prepare_media(&self) -> Result<(), RecordsError> {
        Ok(())
    }
}
