//! A visit as an archive that `measure` takes.

use std::fs::File;
use std::io::{self, Seek, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::case::{PROFILE_FILE, VisitCase};
use super::error::RecordsError;
use super::model::Media;
use super::store::Records;
use crate::screen::with_marks_as_placed;

/// Where the archive keeps clips that are not part of the case.
const NOT_MEASURED: &str = "not-measured";

/// What whoever opens the archive must read first.
const NOTE: &str = "READ-FIRST.txt";

impl Records {
    /// Writes a visit as a ZIP archive: `case.toml`, marks, clips and lens profile. The marks are those that are measured, with what the
    /// pictures are known to say, and state whatever would be looked for otherwise: measured, it gives the result that the page shows,
    /// to the last digit. Clips without usable marks are put aside with a note that says why.
    ///
    /// `note` is what stands beside the call on the page and has no place in a case, whose fields are fixed: danger signs, and
    /// palms that nobody saw. It goes into a text file of its own, unless it is empty.
    ///
    /// # Errors
    /// [`RecordsError::Export`] when the archive cannot be written, [`RecordsError::Media`] when a clip cannot be read.
    pub fn write_export(&self, visit: &VisitCase, note: &str, out: impl Write + Seek) -> Result<(), RecordsError> {
        let mut archive = Archive { records: self, zip: ZipWriter::new(out) };
        if !note.is_empty() {
            archive.text(NOTE, note)?;
        }
        let case = visit.case.to_toml().map_err(|source| RecordsError::Case { source })?;
        archive.text("case.toml", &case)?;
        if let Some(profile) = &visit.profile_text {
            archive.text(PROFILE_FILE, profile)?;
        }
        for (entry, reach) in visit.case.reaches.iter().zip(&visit.reaches) {
            // nothing more is looked for in their pictures than the page knows
            let marks = with_marks_as_placed(&reach.marks, visit.case.marking.sd_px).to_json();
            archive.text(&entry.marks.to_string_lossy(), &marks)?;
            archive.media(&entry.file.to_string_lossy(), &reach.media)?;
        }
        if !visit.left_out.is_empty() {
            let notes: Vec<String> =
                visit.left_out.iter().map(|reach| format!("{}: {}\n", reach.file.display(), reach.reason)).collect();
            archive.text(&format!("{NOT_MEASURED}/why.txt"), &notes.concat())?;
            for reach in &visit.left_out {
                archive.media(&format!("{NOT_MEASURED}/{}", reach.file.display()), &reach.media)?;
            }
        }
        archive.zip.finish().map(|_| ()).map_err(|source| RecordsError::Export { source })
    }
}

struct Archive<'a, W: Write + Seek> {
    records: &'a Records,
    zip: ZipWriter<W>,
}

impl<W: Write + Seek> Archive<'_, W> {
    fn start(&mut self, name: &str, bytes: u64) -> Result<(), RecordsError> {
        // clips are compressed already; beyond 4 GB the larger form of the format is needed
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Stored)
            .large_file(bytes >= u64::from(u32::MAX));
        self.zip.start_file(name, options).map_err(|source| RecordsError::Export { source })
    }

    fn text(&mut self, name: &str, text: &str) -> Result<(), RecordsError> {
        self.start(name, 0)?;
        self.zip.write_all(text.as_bytes()).map_err(|source| RecordsError::Export { source: source.into() })
    }

    fn media(&mut self, name: &str, media: &Media) -> Result<(), RecordsError> {
        self.start(name, media.bytes)?;
        let failed = |source| RecordsError::Media { step: "copy", source };
        let mut file = File::open(self.records.media_path(media)).map_err(failed)?;
        io::copy(&mut file, &mut self.zip).map(|_| ()).map_err(failed)
    }
}
