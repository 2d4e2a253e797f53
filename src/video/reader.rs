//! One pass over the frames of a clip in the order in which they are shown, and exact jumps within it.
//!
//! The frames of a clip are those that decoding from its start yields, and a jump must find the same ones. Two traps stand in
//! the way. Frames that are shown before a key frame but coded after it may refer to pictures before it, which a jump to the
//! key frame never decodes: so a jump counts only if its key frame is shown no later than the frame wanted. And where packets
//! carry no presentation times, times depend on everything decoded before: such clips are decoded from the start.
//!
//! Damage ends the pass. Which frame is the last good one must not depend on how many threads decode. With several, marks of
//! damage on a frame come and go by chance; the decoder's complaints do not. So at the first complaint the pass is repeated with
//! one thread, whose marks and failures count. A picture whose damaged data still parse can't be told from a good one.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::thread;

use ffmpeg_next as ffmpeg;
use ffmpeg_next::codec::discard::Discard;
use ffmpeg_next::codec::packet::side_data::Type as SideData;
use ffmpeg_next::codec::threading;
use ffmpeg_next::format::context::Input;
use ffmpeg_next::{Packet, codec, decoder, frame};

use super::error::VideoError;
use super::ffi;
use super::stream::{MAX_CLIP_PIXELS, StreamFacts, check_claims, open_error};

/// More decoding threads than this cost memory (each holds a frame or two) and gain little.
const MAX_THREADS: usize = 8;
/// Jumps that land too late are repeated from further back, at most so often before decoding from the start.
const MAX_JUMPS: usize = 4;
/// How much earlier the first repeated jump aims, s; doubled each time.
const JUMP_BACK_S: f64 = 1.0;
/// Without an index, a frame at most this much later is reached by decoding on, s.
const NEARBY_S: f64 = 1.0;
/// A clip that ends this much earlier than its container states was cut off, s.
const MISSING_END_S: f64 = 0.5;
/// The same in frames, where nothing but the picture is in the container and it states its duration to the frame.
const MISSING_END_FRAMES: f64 = 2.5;
/// Containers whose packets carry presentation times and that are indexed by key frame.
const INDEXED_CONTAINERS: [&str; 2] = ["mov", "matroska"];

/// Where a clip stops being usable.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Damage {
    /// Time of the last usable frame, s.
    pub time_s: f64,
    /// Number of usable frames, up to and with that one; null where the pass did not begin at the clip's start.
    pub frames: Option<u64>,
}

/// How a pass decodes.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct ReaderOptions {
    /// One thread, so that a failure belongs to the packet just sent.
    pub is_careful: bool,
    /// One thread, for the least memory; kept when a pass is begun anew.
    pub has_one_thread: bool,
    /// Only times and damage are wanted: pictures may be left unfiltered, which is faster.
    pub times_only: bool,
}

/// One pass over a clip.
pub(crate) struct Reader {
    path: PathBuf,
    options: ReaderOptions,
    facts: StreamFacts,
    input: Input,
    decoder: decoder::Video,
    /// Watches `decoder`, and so is dropped after it.
    trouble: ffi::Trouble,
    state: State,
    start_ticks: Option<i64>,
    last: Option<Shown>,
    /// Frames yielded since the clip's start; `None` after a jump.
    yielded: Option<u64>,
    /// After a jump: the time of its key frame. Frames before it belong to the group before.
    key_ticks: Option<i64>,
    /// Where the jump aimed at, s, if the pass began with one.
    aim_s: Option<f64>,
    sent: Sent,
    is_damaged: bool,
}

/// What has been given to the decoder.
#[derive(Debug, Default)]
struct Sent {
    times: HashSet<i64>,
    lacks_times: bool,
    last_time: Option<i64>,
    last_decoding_ticks: Option<i64>,
    /// The latest end of any packet of any stream, s.
    end_s: f64,
}

#[derive(Debug, Clone, Copy)]
struct Shown {
    ticks: i64,
    duration_ticks: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Packets are being sent.
    Feeding,
    /// The decoder gives what it still holds.
    Draining,
    /// Nothing more comes.
    Over,
}

impl Reader {
    /// Opens the clip at `path` for a pass from its start.
    pub(crate) fn open(path: &Path, options: ReaderOptions) -> Result<Self, VideoError> {
        let max_pixels = i64::try_from(MAX_CLIP_PIXELS).expect("the bound is small");
        let mut input = ffi::open_input(path).map_err(|source| open_error(path, source))?;
        check_claims(path, &input)?;
        ffi::probe_streams(&mut input, max_pixels).map_err(|source| open_error(path, source))?;
        let facts = StreamFacts::read(path, &input)?;
        let library = |source| VideoError::Library { path: path.to_owned(), step: "prepare to decode", source };
        let stream = input.stream(facts.index).expect("the stream was found in this file");
        let mut context = codec::Context::from_parameters(stream.parameters()).map_err(library)?;
        ffi::limit_pixels(&mut context, max_pixels);
        let mut trouble = ffi::Trouble::default();
        trouble.watch(&mut context);
        let cores = thread::available_parallelism().map_or(1, usize::from);
        let count = if options.is_careful || options.has_one_thread { 1 } else { cores.min(MAX_THREADS) };
        context.set_threading(threading::Config { kind: threading::Type::Frame, count, ..Default::default() });
        let mut context = context.decoder();
        context.set_packet_time_base(stream.time_base());
        if options.times_only {
            context.skip_loop_filter(Discard::All);
        }
        let decoder = context.video().map_err(library)?;
        Ok(Self {
            path: path.to_owned(),
            options,
            start_ticks: facts.numbers.start_ticks,
            facts,
            input,
            decoder,
            trouble,
            state: State::Feeding,
            last: None,
            yielded: Some(0),
            key_ticks: None,
            aim_s: None,
            sent: Sent::default(),
            is_damaged: false,
        })
    }

    /// Whether the file holds all packets that it promises, unharmed as far as their container can tell. Decodes nothing.
    pub(crate) fn is_whole(path: &Path) -> Result<bool, VideoError> {
        let mut reader = Self::open(path, ReaderOptions { is_careful: true, times_only: true, ..Default::default() })?;
        loop {
            let mut packet = Packet::empty();
            match packet.read(&mut reader.input) {
                Ok(()) if packet.is_corrupt() && packet.stream() == reader.facts.index => return Ok(false),
                Ok(()) => reader.note_end(&packet),
                Err(ffmpeg::Error::Eof) => return Ok(!reader.is_cut_off()),
                Err(_) => return Ok(false),
            }
        }
    }

    /// What the container says.
    pub(crate) const fn facts(&self) -> &StreamFacts {
        &self.facts
    }

    /// How long the frame last yielded is shown, s: as its packet says, else by the average rate, else 0.
    pub(crate) fn last_duration_s(&self) -> f64 {
        match self.last {
            Some(Shown { duration_ticks, .. }) if duration_ticks > 0 => duration_ticks as f64 * self.facts.tick_s,
            _ => self.facts.average_rate.map_or(0.0, f64::recip),
        }
    }

    /// Where the pass met damage, once it did.
    pub(crate) fn damage(&self) -> Option<Damage> {
        let time_s = self.last.map_or(0.0, |last| self.time_s(last.ticks));
        self.is_damaged.then_some(Damage { time_s, frames: self.yielded })
    }

    /// Width over height of a pixel, by container, codec and frame; 1:1 where nothing is said.
    pub(crate) fn pixel_aspect(&mut self, frame: &mut frame::Video) -> (i32, i32) {
        ffi::pixel_aspect(&mut self.input, self.facts.index, frame).unwrap_or((1, 1))
    }

    /// Puts the next frame into `frame` and returns its time, s; `None` at the end or at damage.
    pub(crate) fn next(&mut self, frame: &mut frame::Video) -> Result<Option<f64>, VideoError> {
        while self.state != State::Over {
            match self.decoder.receive_frame(frame) {
                Ok(()) => {
                    if let Some(shown) = self.judge(frame)? {
                        self.last = Some(shown);
                        self.yielded = self.yielded.map(|count| count + 1);
                        return Ok(Some(self.time_s(shown.ticks)));
                    }
                }
                Err(ffmpeg::Error::Eof) => self.state = State::Over,
                Err(ffmpeg::Error::Other { errno }) if errno == ffmpeg::error::EAGAIN => match self.state {
                    State::Feeding => self.feed()?,
                    _ => self.state = State::Over,
                },
                Err(_) => self.meet_failure()?,
            }
        }
        Ok(None)
    }

    /// Puts a frame that is shown at or before `time_s` (s) into `frame`, from which the next frames lead up to that time,
    /// and returns its time, s. `None` if the clip holds no frame at all; a later time if it holds none so early.
    pub(crate) fn jump(&mut self, time_s: f64, frame: &mut frame::Video) -> Result<Option<f64>, VideoError> {
        let is_indexed = INDEXED_CONTAINERS.contains(&self.facts.container.as_str());
        if self.is_damaged || self.options.is_careful {
            self.restart(false)?;
        }
        let mut aim_s = time_s;
        let mut back_s = JUMP_BACK_S;
        for _ in 0..MAX_JUMPS {
            if !is_indexed || aim_s <= 0.0 || !self.go_to_key(aim_s) {
                break;
            }
            let first_s = self.next(frame)?;
            let is_key_early = self.key_ticks.is_some_and(|key| self.time_s(key) <= time_s);
            // Some containers call a packet a key frame that is none.
            let is_first_good = first_s.is_some_and(|first_s| first_s <= time_s) && frame.is_key();
            if is_key_early && is_first_good && !self.sent.lacks_times && !self.is_damaged {
                return Ok(first_s);
            }
            aim_s = time_s - back_s;
            back_s *= 2.0;
        }
        self.restart(false)?;
        self.next(frame)
    }

    /// Whether decoding on from the frame at `from_s` reaches `time_s` sooner than a jump would.
    pub(crate) fn is_jump_useless(&self, from_s: f64, time_s: f64) -> bool {
        if self.facts.container != "mov" {
            // Only ISO media have their whole index in memory from the start.
            return time_s - from_s <= NEARBY_S;
        }
        let start_ticks = self.start_ticks.unwrap_or(0);
        let key_ticks = ticks_at(time_s, self.facts.tick_s, start_ticks)
            .and_then(|ticks| ffi::key_entry_before(&self.input, self.facts.index, ticks));
        key_ticks.is_none_or(|key| self.time_s(key) <= from_s)
    }

    /// Goes to the key frame at or before `time_s`; `false` if that can't be done.
    fn go_to_key(&mut self, time_s: f64) -> bool {
        let ticks = ticks_at(time_s, self.facts.tick_s, self.start_ticks.unwrap_or(0));
        let is_there = ticks.is_some_and(|ticks| ffi::seek_before(&mut self.input, self.facts.index, ticks).is_ok());
        self.decoder.flush();
        self.state = State::Feeding;
        self.last = None;
        self.yielded = None;
        self.key_ticks = None;
        self.aim_s = Some(time_s);
        self.sent = Sent::default();
        is_there
    }

    fn restart(&mut self, is_careful: bool) -> Result<(), VideoError> {
        let start_ticks = self.start_ticks;
        *self = Self::open(&self.path, ReaderOptions { is_careful, ..self.options })?;
        self.start_ticks = start_ticks; // the same zero for every pass
        Ok(())
    }

    /// Whether a decoded frame is to be shown, and when.
    fn judge(&mut self, frame: &frame::Video) -> Result<Option<Shown>, VideoError> {
        let numbers = ffi::frame_numbers(frame);
        if !self.options.is_careful && self.trouble.is_met() {
            self.meet_failure()?;
            return Ok(None);
        }
        if numbers.is_damaged {
            // A stream may begin in the middle of a group: what can't be shown there is passed over.
            if self.last.is_some() {
                self.meet_failure()?;
                if self.is_damaged {
                    self.state = State::Over;
                }
            }
            return Ok(None);
        }
        let Some(ticks) = frame.timestamp().or_else(|| self.next_ticks()) else { return Ok(None) };
        if self.is_damaged && !self.sent.lacks_times && !self.sent.times.contains(&ticks) {
            self.state = State::Over; // it came from the packet that failed
            return Ok(None);
        }
        let is_of_group_before = self.aim_s.is_some() && self.key_ticks.is_some_and(|key| ticks < key);
        if is_of_group_before || self.last.is_some_and(|last| ticks == last.ticks) {
            return Ok(None);
        }
        if self.last.is_some_and(|last| ticks < last.ticks) {
            // Times that run backwards are wrong, here or before.
            self.is_damaged = true;
            self.state = State::Over;
            return Ok(None);
        }
        if self.yielded == Some(0) {
            // Decoding times, which stand in where a packet has no other, lag behind by the reordering: zero is what is seen.
            let stated = self.start_ticks.filter(|_| !self.sent.lacks_times);
            self.start_ticks = Some(stated.map_or(ticks, |start| start.min(ticks)));
        }
        Ok(Some(Shown { ticks, duration_ticks: numbers.duration_ticks }))
    }

    /// Reads one packet and gives it to the decoder if it belongs to the picture.
    fn feed(&mut self) -> Result<(), VideoError> {
        let mut packet = Packet::empty();
        match packet.read(&mut self.input) {
            Ok(()) => {
                self.note_end(&packet);
                // Empty packets stand for repeated pictures; the decoder would take one for the end.
                if packet.stream() == self.facts.index && packet.size() > 0 { self.send(&packet) } else { Ok(()) }
            }
            Err(error) => {
                self.is_damaged |= error != ffmpeg::Error::Eof || self.is_cut_off();
                self.drain();
                Ok(())
            }
        }
    }

    fn send(&mut self, packet: &Packet) -> Result<(), VideoError> {
        if packet.side_data().any(|data| data.kind() == SideData::EncryptionInfo) {
            return Err(VideoError::Encrypted { path: self.path.clone() });
        }
        if packet.is_corrupt() {
            self.is_damaged = true;
            self.drain();
            return Ok(());
        }
        if self.aim_s.is_some() && self.key_ticks.is_none() && packet.is_key() {
            self.key_ticks = packet.pts();
        }
        let is_first = self.sent.last_time.is_none();
        match self.decoder.send_packet(packet) {
            Ok(()) => {
                self.sent.lacks_times |= packet.pts().is_none();
                self.sent.last_time = packet.pts().or(packet.dts());
                self.sent.times.extend(self.sent.last_time);
                Ok(())
            }
            Err(_) if is_first && self.last.is_none() => Ok(()),
            Err(_) => {
                self.sent.last_time = None;
                self.meet_failure()
            }
        }
    }

    fn drain(&mut self) {
        self.state = State::Draining;
        // A decoder that refuses to be drained has nothing left to give, which the next receive shows.
        let _ = self.decoder.send_eof();
    }

    /// The decoder failed on a packet or frame. With one thread it was the packet sent last; with several the pass is repeated
    /// with one, silently up to the frame yielded last.
    fn meet_failure(&mut self) -> Result<(), VideoError> {
        if self.options.is_careful {
            self.is_damaged = true;
            if let Some(time) = self.sent.last_time.take() {
                self.sent.times.remove(&time);
            }
            if self.state == State::Feeding {
                self.drain()
            } else {
                self.state = State::Over
            }
            return Ok(());
        }
        let (last, aim_s) = (self.last, self.aim_s);
        self.restart(true)?;
        if let Some(aim_s) = aim_s {
            self.go_to_key(aim_s);
        }
        let mut frame = frame::Video::empty();
        while last.is_some_and(|last| self.last.is_none_or(|shown| shown.ticks < last.ticks)) {
            if self.next(&mut frame)?.is_none() {
                break;
            }
        }
        Ok(())
    }

    fn note_end(&mut self, packet: &Packet) {
        if packet.stream() == self.facts.index && !packet.is_corrupt() {
            self.sent.last_decoding_ticks = self.sent.last_decoding_ticks.max(packet.dts());
        }
        let Some(stream) = self.input.stream(packet.stream()) else { return };
        if let Some(ticks) = packet.pts().or(packet.dts()) {
            // Counted from the clock's zero, as some writers state durations: never longer than counted from the first frame.
            let end = ticks.saturating_add(packet.duration());
            self.sent.end_s = self.sent.end_s.max(end as f64 * f64::from(stream.time_base()));
        }
    }

    /// Whether the file ends before what its index or its stated duration promises.
    fn is_cut_off(&self) -> bool {
        if self.facts.container == "mov" {
            return ffi::stream_numbers(&self.input, self.facts.index)
                .and_then(|numbers| numbers.last_index_ticks)
                .zip(self.sent.last_decoding_ticks)
                .is_some_and(|(promised, sent)| sent < promised);
        }
        self.facts.stated_duration_s.is_some_and(|stated_s| self.sent.end_s + self.missing_end_s() < stated_s)
    }

    /// How much may be missing at the end without a cut, s. Sound may go on after the picture; a Matroska file of the picture alone
    /// states its end to the frame.
    fn missing_end_s(&self) -> f64 {
        let is_alone = self.facts.container == "matroska" && self.input.streams().count() == 1;
        match self.facts.average_rate.filter(|rate| is_alone && *rate > 0.0) {
            Some(rate) => MISSING_END_FRAMES / rate,
            None => MISSING_END_S,
        }
    }

    /// Where a frame without a time of its own stands: one mean step after the last.
    fn next_ticks(&self) -> Option<i64> {
        let Some(last) = self.last else { return Some(self.start_ticks.unwrap_or(0)) };
        let step = self.facts.average_rate.map(|rate| 1.0 / (rate * self.facts.tick_s))?;
        last.ticks.checked_add(whole(step)?.max(1))
    }

    fn time_s(&self, ticks: i64) -> f64 {
        ticks.saturating_sub(self.start_ticks.unwrap_or(0)) as f64 * self.facts.tick_s
    }
}

/// The last tick at or before `time_s` after the start.
fn ticks_at(time_s: f64, tick_s: f64, start_ticks: i64) -> Option<i64> {
    whole((time_s / tick_s).floor())?.checked_add(start_ticks)
}

/// `value` rounded, if it is a whole number that a tick count can hold.
fn whole(value: f64) -> Option<i64> {
    const LARGEST: f64 = 9.0e15; // below 2^53, so that the conversion is exact
    #[allow(clippy::cast_possible_truncation, reason = "rounded and bounded")]
    let whole = (value.abs() < LARGEST).then(|| value.round() as i64);
    whole
}
