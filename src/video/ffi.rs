//! The calls into FFmpeg that its Rust binding does not offer, or offers unsafely. The only file with `unsafe` code.
//!
//! What comes from a file is read as plain integers here and judged by safe code: a hostile file can put any number into
//! a field, and a Rust enum must not hold a value it does not know.
#![allow(unsafe_code, reason = "FFmpeg is a C library; each block states its invariant")]

use std::ffi::{CStr, CString, c_char, c_int, c_void};
use std::marker::PhantomData;
use std::path::Path;
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};
use std::{ptr, slice};

use ffmpeg_next as ffmpeg;
use ffmpeg_next::ffi;
use ffmpeg_next::format::context::{Input, Output};
use ffmpeg_next::frame;

/// The containers that are opened, by the demuxers' names. Playlists, device inputs and text formats stay out: a clip must not
/// be able to name other files or hosts.
const CONTAINERS: &CStr = c"mov,matroska,avi,mpegts,mpeg,asf,flv,ogg,ivf,h264,hevc,m4v,mpegvideo";

/// The only way to read: local files.
const PROTOCOLS: &CStr = c"file";

/// Prepares the library once: no messages of its own on stderr.
pub fn prepare() {
    static ONCE: Once = Once::new();
    // SAFETY: sets the library's one message handler, once, to a function that lives for ever.
    ONCE.call_once(|| unsafe { ffi::av_log_set_callback(Some(note_trouble)) });
}

/// Opens a local clip and reads its header.
pub fn open_input(path: &Path) -> Result<Input, ffmpeg::Error> {
    prepare();
    let url = file_url(path)?;
    // SAFETY: the dictionary and the context are owned here; `avformat_open_input` frees its context when it fails; on success
    // ownership goes to `Input`, which closes it.
    unsafe {
        let mut options: *mut ffi::AVDictionary = ptr::null_mut();
        ffi::av_dict_set(&raw mut options, c"format_whitelist".as_ptr(), CONTAINERS.as_ptr(), 0);
        ffi::av_dict_set(&raw mut options, c"protocol_whitelist".as_ptr(), PROTOCOLS.as_ptr(), 0);
        let mut context = ptr::null_mut();
        let opened = ffi::avformat_open_input(&raw mut context, url.as_ptr(), ptr::null_mut(), &raw mut options);
        ffi::av_dict_free(&raw mut options);
        if opened < 0 { Err(ffmpeg::Error::from(opened)) } else { Ok(Input::wrap(context)) }
    }
}

/// Reads enough of an opened clip to know its streams; `max_pixels` bounds what the probing decoders accept.
pub fn probe_streams(input: &mut Input, max_pixels: i64) -> Result<(), ffmpeg::Error> {
    let mut per_stream: Vec<*mut ffi::AVDictionary> = vec![ptr::null_mut(); input.streams().len()];
    // SAFETY: there is a dictionary for each stream that exists now, as the call asks; they are owned and freed here.
    let found = unsafe {
        for dictionary in &mut per_stream {
            ffi::av_dict_set_int(dictionary, c"max_pixels".as_ptr(), max_pixels, 0);
        }
        let found = ffi::avformat_find_stream_info(input.as_mut_ptr(), per_stream.as_mut_ptr());
        for dictionary in &mut per_stream {
            ffi::av_dict_free(dictionary);
        }
        found
    };
    if found < 0 { Err(ffmpeg::Error::from(found)) } else { Ok(()) }
}

/// Opens `path` for writing as MP4, truncating it.
pub fn create_mp4(path: &Path) -> Result<Output, ffmpeg::Error> {
    prepare();
    let url = file_url(path)?;
    // SAFETY: the context is owned here until `Output` takes it, which frees it and closes its file.
    unsafe {
        let mut context = ptr::null_mut();
        let made =
            ffi::avformat_alloc_output_context2(&raw mut context, ptr::null_mut(), c"mp4".as_ptr(), url.as_ptr());
        if made < 0 {
            return Err(ffmpeg::Error::from(made));
        }
        let output = Output::wrap(context);
        let opened = ffi::avio_open(&raw mut (*context).pb, url.as_ptr(), ffi::AVIO_FLAG_WRITE);
        if opened < 0 { Err(ffmpeg::Error::from(opened)) } else { Ok(output) }
    }
}

/// Writes what the muxer still buffers and tells whether every byte arrived, as a full disk only shows here.
pub fn flush_output(output: &mut Output) -> Result<(), ffmpeg::Error> {
    // SAFETY: `pb` was opened by `create_mp4` and lives as long as `output`.
    unsafe {
        let io = (*output.as_mut_ptr()).pb;
        ffi::avio_flush(io);
        if (*io).error < 0 { Err(ffmpeg::Error::from((*io).error)) } else { Ok(()) }
    }
}

/// What the container says of one stream, as plain numbers.
#[derive(Debug, Clone, Copy)]
pub struct StreamNumbers {
    /// The four-character code of the codec in the container.
    pub codec_tag: u32,
    /// Width claimed, px.
    pub width: i64,
    /// Height claimed, px.
    pub height: i64,
    /// Matrix coefficients, ITU-T H.273; 2 is unspecified.
    pub matrix: i32,
    /// Transfer characteristics, H.273.
    pub transfer: i32,
    /// 0 unspecified, 1 limited, 2 full.
    pub range: i32,
    /// The time of the first frame in ticks, if known.
    pub start_ticks: Option<i64>,
    /// Time stamp of the last entry of the container's index (decoding time), if there is one.
    pub last_index_ticks: Option<i64>,
    /// Whether it is a cover picture and not a moving one.
    pub is_attached_picture: bool,
    /// Whether the container flags it as the default stream.
    pub is_default: bool,
    /// Whether it is a video stream, and whether an audio stream.
    pub is_video: bool,
    /// Whether it is an audio stream.
    pub is_audio: bool,
}

/// Reads the numbers of stream `index`; `None` if there is no such stream.
pub fn stream_numbers(input: &Input, index: usize) -> Option<StreamNumbers> {
    // SAFETY: `index` is checked against the number of streams; streams and their parameters live as long as `input`. Enum
    // fields are read through integer pointers of the same size, so that no unknown value becomes an enum.
    unsafe {
        let context = input.as_ptr();
        if index >= usize::try_from((*context).nb_streams).ok()? {
            return None;
        }
        let stream = *(*context).streams.add(index);
        let parameters = (*stream).codecpar;
        let medium = int(&raw const (*parameters).codec_type);
        let entries = ffi::avformat_index_get_entries_count(stream);
        let last_entry = if entries > 0 { ffi::avformat_index_get_entry(stream, entries - 1) } else { ptr::null() };
        Some(StreamNumbers {
            codec_tag: (*parameters).codec_tag,
            width: i64::from((*parameters).width),
            height: i64::from((*parameters).height),
            matrix: int(&raw const (*parameters).color_space),
            transfer: int(&raw const (*parameters).color_trc),
            range: int(&raw const (*parameters).color_range),
            start_ticks: ticks((*stream).start_time),
            last_index_ticks: if last_entry.is_null() { None } else { ticks((*last_entry).timestamp) },
            is_attached_picture: (*stream).disposition & ffi::AV_DISPOSITION_ATTACHED_PIC != 0,
            is_default: (*stream).disposition & ffi::AV_DISPOSITION_DEFAULT != 0,
            is_video: medium == ffi::AVMediaType::AVMEDIA_TYPE_VIDEO as i32,
            is_audio: medium == ffi::AVMediaType::AVMEDIA_TYPE_AUDIO as i32,
        })
    }
}

/// A note that the file carries about itself, such as `major_brand`.
pub fn file_tag(input: &Input, key: &CStr) -> Option<String> {
    // SAFETY: the dictionary belongs to `input`; the entry's value is a C string, copied before anything changes it.
    unsafe {
        let entry = ffi::av_dict_get((*input.as_ptr()).metadata, key.as_ptr(), ptr::null(), 0);
        (!entry.is_null()).then(|| CStr::from_ptr((*entry).value).to_string_lossy().into_owned())
    }
}

/// The duration that the container itself states, s; `None` where the library only estimated it.
pub fn stated_duration_s(input: &Input) -> Option<f64> {
    // SAFETY: plain fields of a context that lives as long as `input`.
    let (duration, method) =
        unsafe { ((*input.as_ptr()).duration, int(&raw const (*input.as_ptr()).duration_estimation_method)) };
    let is_stated = method == ffi::AVDurationEstimationMethod::AVFMT_DURATION_FROM_STREAM as i32;
    (is_stated && duration > 0).then(|| duration as f64 / f64::from(ffi::AV_TIME_BASE))
}

/// Width over height of a pixel of stream `index` by container, codec and `frame`; `None` where none of them says.
pub fn pixel_aspect(input: &mut Input, index: usize, frame: &mut frame::Video) -> Option<(i32, i32)> {
    // SAFETY: `index` comes from `stream_numbers`; the call only reads the three structures.
    let ratio = unsafe {
        let stream = *(*input.as_mut_ptr()).streams.add(index);
        ffi::av_guess_sample_aspect_ratio(input.as_mut_ptr(), stream, frame.as_mut_ptr())
    };
    (ratio.num > 0 && ratio.den > 0).then_some((ratio.num, ratio.den))
}

/// Goes to the last key frame of stream `index` at or before `ticks` (by decoding time). The decoder must be flushed.
pub fn seek_before(input: &mut Input, index: usize, ticks: i64) -> Result<(), ffmpeg::Error> {
    let index = c_int::try_from(index).map_err(|_| ffmpeg::Error::StreamNotFound)?;
    // SAFETY: `input` is open; the library checks the index.
    let done = unsafe { ffi::avformat_seek_file(input.as_mut_ptr(), index, i64::MIN, ticks, ticks, 0) };
    if done < 0 { Err(ffmpeg::Error::from(done)) } else { Ok(()) }
}

/// The time stamp (decoding time) of the last key frame at or before `ticks` in the container's index, if it has one.
pub fn key_entry_before(input: &Input, index: usize, ticks: i64) -> Option<i64> {
    // SAFETY: `index` comes from `stream_numbers`; the entry is read before anything else touches the stream. The library
    // takes a mutable pointer, but only searches.
    unsafe {
        let stream = *(*input.as_ptr()).streams.add(index);
        let entry = ffi::avformat_index_get_entry_from_timestamp(stream, ticks, ffi::AVSEEK_FLAG_BACKWARD);
        if entry.is_null() { None } else { self::ticks((*entry).timestamp) }
    }
}

/// Bounds the size of the pictures that a decoder accepts, also when it changes within the stream.
pub fn limit_pixels(context: &mut ffmpeg::codec::Context, max_pixels: i64) {
    // SAFETY: a plain field, set before the decoder is opened.
    unsafe { (*context.as_mut_ptr()).max_pixels = max_pixels };
}

/// Whether a decoder has complained: error messages, which reach no one else.
#[derive(Debug, Default)]
pub struct Trouble(Box<AtomicBool>);

impl Trouble {
    /// Watches a decoder and the threads it will start; must live at least as long as the decoder.
    pub fn watch(&mut self, context: &mut ffmpeg::codec::Context) {
        prepare();
        // SAFETY: a plain field for the user's purposes, which the library copies to its threads' contexts and never follows.
        // The flag is boxed, so that it stays in place when `self` moves.
        unsafe { (*context.as_mut_ptr()).opaque = ptr::from_ref::<AtomicBool>(&self.0).cast_mut().cast() };
    }

    /// Whether there was a complaint so far.
    pub fn is_met(&self) -> bool {
        self.0.load(Ordering::Acquire)
    }
}

/// Takes the library's messages: none is printed, and an error of a watched decoder is noted.
///
/// `V` is C's `va_list`, whose type depends on the platform.
unsafe extern "C" fn note_trouble<V>(source: *mut c_void, level: c_int, _format: *const c_char, _values: V) {
    if level > ffi::AV_LOG_ERROR || source.is_null() {
        return;
    }
    // SAFETY: a source of messages starts with a pointer to its class, by the library's convention. Only decoders have the class
    // compared with, and their `opaque` is null or points to the flag of a living `Trouble`.
    unsafe {
        if *source.cast::<*const ffi::AVClass>() != ffi::avcodec_get_class() {
            return;
        }
        let flag = (*source.cast::<ffi::AVCodecContext>()).opaque.cast::<AtomicBool>();
        if let Some(flag) = flag.as_ref() {
            flag.store(true, Ordering::Release);
        }
    }
}

/// What a decoded frame says of itself, as plain numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FrameNumbers {
    /// Width, px.
    pub width: u32,
    /// Height, px.
    pub height: u32,
    /// Pixel format number.
    pub pixel_format: i32,
    /// Matrix coefficients, H.273.
    pub matrix: i32,
    /// 0 unspecified, 1 limited, 2 full.
    pub range: i32,
    /// Whether the decoder reports this frame as damaged.
    pub is_damaged: bool,
    /// How long the frame is shown, ticks; 0 unknown.
    pub duration_ticks: i64,
}

/// Reads the numbers of a decoded frame.
pub fn frame_numbers(frame: &frame::Video) -> FrameNumbers {
    // SAFETY: plain fields of a frame that lives as long as `frame`, enum fields read as integers.
    unsafe {
        let raw = frame.as_ptr();
        FrameNumbers {
            width: u32::try_from((*raw).width).unwrap_or(0),
            height: u32::try_from((*raw).height).unwrap_or(0),
            pixel_format: (*raw).format,
            matrix: int(&raw const (*raw).colorspace),
            range: int(&raw const (*raw).color_range),
            is_damaged: (*raw).flags & ffi::AV_FRAME_FLAG_CORRUPT != 0 || (*raw).decode_error_flags != 0,
            duration_ticks: frame.packet().duration,
        }
    }
}

/// How the luma of a pixel format is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LumaLayout {
    plane: usize,
    /// Bytes before the first sample of a row.
    pub offset: usize,
    /// Bytes from one sample to the next.
    pub step: usize,
    /// Bits to shift a sample right.
    pub shift: u32,
    /// Significant bits of a sample.
    pub depth: u32,
}

/// The bits of a sample of a pixel format, and the layout of its luma where the format has luma that can be read directly.
pub fn pixel_layout(pixel_format: i32) -> Option<(u32, Option<LumaLayout>)> {
    // SAFETY: descriptors are static tables; the format number is turned into an enum only inside `format_of`, which checks it.
    unsafe {
        let descriptor = ffi::av_pix_fmt_desc_get(format_of(pixel_format)?);
        let descriptor = descriptor.as_ref()?;
        let component = descriptor.comp[0];
        let depth = u32::try_from(component.depth).ok()?;
        let unreadable = ffi::AV_PIX_FMT_FLAG_BE
            | ffi::AV_PIX_FMT_FLAG_PAL
            | ffi::AV_PIX_FMT_FLAG_BITSTREAM
            | ffi::AV_PIX_FMT_FLAG_HWACCEL
            | ffi::AV_PIX_FMT_FLAG_RGB
            | ffi::AV_PIX_FMT_FLAG_BAYER
            | ffi::AV_PIX_FMT_FLAG_FLOAT;
        let layout = (descriptor.flags & u64::from(unreadable.unsigned_abs()) == 0 && (8..=16).contains(&depth))
            .then(|| {
                Some(LumaLayout {
                    plane: usize::try_from(component.plane).ok()?,
                    offset: usize::try_from(component.offset).ok()?,
                    step: usize::try_from(component.step).ok()?,
                    shift: u32::try_from(component.shift).ok()?,
                    depth,
                })
            })
            .flatten();
        Some((depth, layout))
    }
}

/// Whether a pixel format by its name alone uses the full range of codes.
pub fn is_full_range_format(pixel_format: i32) -> bool {
    use ffi::AVPixelFormat::{
        AV_PIX_FMT_YUVJ411P, AV_PIX_FMT_YUVJ420P, AV_PIX_FMT_YUVJ422P, AV_PIX_FMT_YUVJ440P, AV_PIX_FMT_YUVJ444P,
    };
    let full =
        [AV_PIX_FMT_YUVJ411P, AV_PIX_FMT_YUVJ420P, AV_PIX_FMT_YUVJ422P, AV_PIX_FMT_YUVJ440P, AV_PIX_FMT_YUVJ444P];
    format_of(pixel_format).is_some_and(|format| full.contains(&format))
}

/// The rows of one plane of a frame, as bytes without padding.
#[derive(Clone, Copy)]
pub struct Rows<'a> {
    first: *const u8,
    stride: isize,
    row_bytes: usize,
    height: u32,
    frame: PhantomData<&'a frame::Video>,
}

impl<'a> Rows<'a> {
    /// The rows that hold the luma of `frame`; `None` if the frame is not laid out as `layout` says.
    pub fn luma(frame: &'a frame::Video, layout: LumaLayout) -> Option<Self> {
        Self::plane(frame, layout.plane)
    }

    /// The rows of a frame whose pixels are packed into one plane, such as RGB24.
    pub fn packed(frame: &'a frame::Video) -> Option<Self> {
        Self::plane(frame, 0)
    }

    /// The rows of brightness, blue and red of a frame that keeps them in planes of their own, one byte a sample.
    pub fn planar(frame: &'a frame::Video) -> Option<[Self; 3]> {
        Some([Self::plane(frame, 0)?, Self::plane(frame, 1)?, Self::plane(frame, 2)?])
    }

    fn plane(frame: &'a frame::Video, plane: usize) -> Option<Self> {
        // SAFETY: reads fields of the frame and a static table. The row length is the one the library computes for this
        // format and width, and the frame's buffer has `height` rows of at least that length, `stride` apart (which may be
        // negative: then the first row is the last in memory). Planes 1 and 2 have fewer rows where colours are subsampled,
        // which the format's description tells; no plane has more rows than plane 0.
        unsafe {
            let raw = frame.as_ptr();
            let first = *(*raw).data.get(plane)?;
            let stride = isize::try_from(*(*raw).linesize.get(plane)?).ok()?;
            let row_bytes =
                ffi::av_image_get_linesize(format_of((*raw).format)?, (*raw).width, c_int::try_from(plane).ok()?);
            let row_bytes = usize::try_from(row_bytes).ok()?;
            let subsampling = match plane {
                1 | 2 => ffi::av_pix_fmt_desc_get(format_of((*raw).format)?).as_ref()?.log2_chroma_h,
                _ => 0,
            };
            let height = u32::try_from((*raw).height).ok()?.div_ceil(1_u32.checked_shl(subsampling.into())?);
            (!first.is_null() && row_bytes > 0 && row_bytes <= stride.unsigned_abs()).then_some(Self {
                first,
                stride,
                row_bytes,
                height,
                frame: PhantomData,
            })
        }
    }

    /// How many rows there are.
    pub const fn height(&self) -> u32 {
        self.height
    }

    /// Row `y` from the top.
    ///
    /// # Panics
    /// If `y` is not below the number of rows.
    pub fn row(&self, y: u32) -> &'a [u8] {
        assert!(y < self.height, "row {y} of {}", self.height);
        // SAFETY: by the invariant of `plane`, row `y < height` starts `y * stride` from the first and has `row_bytes`;
        // the frame is borrowed for 'a. `y` fits `isize` since the whole buffer does.
        unsafe { slice::from_raw_parts(self.first.offset(y as isize * self.stride), self.row_bytes) }
    }
}

/// What a [`Scaler`] converts: pixel formats, sizes, and the matrix and range of the YUV side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Conversion {
    /// Source pixel format number.
    pub source_format: i32,
    /// Source width and height, px.
    pub source_size: (u32, u32),
    /// Destination pixel format.
    pub target_format: ffmpeg::format::Pixel,
    /// Destination width and height, px.
    pub target_size: (u32, u32),
    /// Matrix coefficients (H.273) of the YUV side.
    pub matrix: i32,
    /// Whether the source uses the full range of codes.
    pub is_source_full_range: bool,
    /// Whether the destination uses the full range of codes.
    pub is_target_full_range: bool,
}

/// Converts and resamples frames with the stream's own matrix and range.
pub struct Scaler {
    context: *mut ffi::SwsContext,
    conversion: Conversion,
    target: frame::Video,
}

// SAFETY: the context has no thread affinity and is only reached through `&mut self`.
unsafe impl Send for Scaler {}

impl Scaler {
    /// A scaler for `conversion`; `None` if the library can't convert between these formats.
    pub fn new(conversion: Conversion) -> Option<Self> {
        prepare();
        let side = |value: u32| c_int::try_from(value).ok();
        let source_format = format_of(conversion.source_format)?;
        let flags = ffi::SWS_BICUBIC | ffi::SWS_ACCURATE_RND | ffi::SWS_FULL_CHR_H_INP | ffi::SWS_FULL_CHR_H_INT;
        // SAFETY: sizes are positive integers, formats known; the context is freed in `drop`. Coefficient tables are static.
        unsafe {
            let context = ffi::sws_getContext(
                side(conversion.source_size.0)?,
                side(conversion.source_size.1)?,
                source_format,
                side(conversion.target_size.0)?,
                side(conversion.target_size.1)?,
                conversion.target_format.into(),
                flags,
                ptr::null_mut(),
                ptr::null_mut(),
                ptr::null(),
            );
            if context.is_null() {
                return None;
            }
            let coefficients = ffi::sws_getCoefficients(conversion.matrix);
            // The call refuses conversions without a YUV side, which need no matrix.
            ffi::sws_setColorspaceDetails(
                context,
                coefficients,
                c_int::from(conversion.is_source_full_range),
                coefficients,
                c_int::from(conversion.is_target_full_range),
                0,
                1 << 16,
                1 << 16,
            );
            let (width, height) = conversion.target_size;
            let target = frame::Video::new(conversion.target_format, width, height);
            Some(Self { context, conversion, target })
        }
    }

    /// What this scaler converts.
    pub fn conversion(&self) -> &Conversion {
        &self.conversion
    }

    /// Converts `source` into the scaler's own frame, which the next call overwrites; `None` if `source` is not what the
    /// scaler was made for.
    pub fn convert(&mut self, source: &frame::Video) -> Option<&mut frame::Video> {
        let numbers = frame_numbers(source);
        if (numbers.width, numbers.height) != self.conversion.source_size
            || numbers.pixel_format != self.conversion.source_format
        {
            return None;
        }
        // SAFETY: the source has the size and format of the context; the target was allocated with its target size and
        // format, and the library's allocation pads rows as its routines need.
        let rows = unsafe {
            if (*self.target.as_ptr()).data[0].is_null() || (*source.as_ptr()).data[0].is_null() {
                return None;
            }
            ffi::sws_scale(
                self.context,
                (*source.as_ptr()).data.as_ptr().cast(),
                (*source.as_ptr()).linesize.as_ptr(),
                0,
                c_int::try_from(numbers.height).ok()?,
                (*self.target.as_mut_ptr()).data.as_ptr(),
                (*self.target.as_mut_ptr()).linesize.as_ptr(),
            )
        };
        (rows > 0).then_some(&mut self.target)
    }
}

impl Drop for Scaler {
    fn drop(&mut self) {
        // SAFETY: made by `sws_getContext`, freed once.
        unsafe { ffi::sws_freeContext(self.context) };
    }
}

/// The library's name of a codec, such as `hevc`.
pub fn codec_name(id: ffmpeg::codec::Id) -> String {
    // SAFETY: the call returns a static string for every identifier.
    unsafe { CStr::from_ptr(ffi::avcodec_get_name(id.into())) }.to_string_lossy().into_owned()
}

/// The path as a `file:` address, so that no part of a file name is taken for a protocol.
fn file_url(path: &Path) -> Result<CString, ffmpeg::Error> {
    let mut bytes = b"file:".to_vec();
    bytes.extend_from_slice(path.as_os_str().as_encoded_bytes());
    CString::new(bytes).map_err(|_| ffmpeg::Error::InvalidData)
}

fn ticks(value: i64) -> Option<i64> {
    (value != ffi::AV_NOPTS_VALUE).then_some(value)
}

/// The pixel format of a number, if the library knows it.
fn format_of(number: i32) -> Option<ffi::AVPixelFormat> {
    let is_known = number >= 0 && number < ffi::AVPixelFormat::AV_PIX_FMT_NB as i32;
    // SAFETY: the enum has a variant for each number from 0 up to AV_PIX_FMT_NB, and the same size as i32.
    is_known.then(|| unsafe { std::mem::transmute::<i32, ffi::AVPixelFormat>(number) })
}

/// The integer behind a C enum.
///
/// # Safety
/// `field` points to a readable C enum, which is an `int` in this library.
unsafe fn int<T>(field: *const T) -> i32 {
    const { assert!(size_of::<T>() == size_of::<i32>()) };
    // SAFETY: the caller's promise; sizes are equal and alignment is that of the enum.
    unsafe { field.cast::<i32>().read() }
}

/// The number of a pixel format.
pub fn format_number(format: ffmpeg::format::Pixel) -> i32 {
    ffi::AVPixelFormat::from(format) as i32
}
