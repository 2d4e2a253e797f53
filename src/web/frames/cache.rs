//! Frames as JPEG in bounded memory; the one used longest ago goes first.

use std::collections::{BTreeMap, HashMap};

use axum::body::Bytes;

/// The frames.
pub(super) struct FrameCache {
    bytes_max: usize,
    bytes: usize,
    /// Grows with every use.
    clock: u64,
    clips: HashMap<String, HashMap<usize, (u64, Bytes)>>,
    /// Clip and frame, by when they were used last.
    by_use: BTreeMap<u64, (String, usize)>,
}

impl FrameCache {
    pub(super) fn new(bytes_max: usize) -> Self {
        Self { bytes_max, bytes: 0, clock: 0, clips: HashMap::new(), by_use: BTreeMap::new() }
    }

    /// A frame, which counts as used.
    pub(super) fn get(&mut self, clip: &str, index: usize) -> Option<Bytes> {
        let (used, jpeg) = self.clips.get_mut(clip)?.get_mut(&index)?;
        self.clock += 1;
        let key = self.by_use.remove(used).unwrap_or_else(|| (clip.to_owned(), index));
        *used = self.clock;
        self.by_use.insert(self.clock, key);
        Some(jpeg.clone())
    }

    /// A frame, without a note of its use.
    pub(super) fn peek(&self, clip: &str, index: usize) -> Option<Bytes> {
        self.clips.get(clip)?.get(&index).map(|(_, jpeg)| jpeg.clone())
    }

    pub(super) fn has(&self, clip: &str, index: usize) -> bool {
        self.clips.get(clip).is_some_and(|frames| frames.contains_key(&index))
    }

    pub(super) fn put(&mut self, clip: &str, index: usize, jpeg: Bytes) {
        if jpeg.len() > self.bytes_max {
            return;
        }
        self.remove(clip, index);
        self.bytes += jpeg.len();
        self.clock += 1;
        self.by_use.insert(self.clock, (clip.to_owned(), index));
        self.clips.entry(clip.to_owned()).or_default().insert(index, (self.clock, jpeg));
        while self.bytes > self.bytes_max {
            let Some((_, (clip, index))) = self.by_use.pop_first() else { break };
            self.remove(&clip, index);
        }
    }

    pub(super) fn forget(&mut self, clip: &str) {
        for (used, jpeg) in self.clips.remove(clip).into_iter().flat_map(HashMap::into_values) {
            self.by_use.remove(&used);
            self.bytes -= jpeg.len();
        }
    }

    fn remove(&mut self, clip: &str, index: usize) {
        let Some(frames) = self.clips.get_mut(clip) else { return };
        if let Some((used, jpeg)) = frames.remove(&index) {
            self.by_use.remove(&used);
            self.bytes -= jpeg.len();
        }
        if frames.is_empty() {
            self.clips.remove(clip);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn jpeg(length: usize) -> Bytes {
        Bytes::from(vec![0; length])
    }

    #[test]
    fn memory_stays_bounded_and_what_was_used_last_stays() {
        let mut cache = FrameCache::new(100);
        for index in 0..10 {
            cache.put("a", index, jpeg(10));
        }
        assert!(cache.get("a", 0).is_some());
        cache.put("b", 0, jpeg(30));
        assert_eq!(cache.bytes, 100);
        assert!(cache.has("a", 0), "it was used after the others");
        assert!(!cache.has("a", 1) && !cache.has("a", 2) && !cache.has("a", 3));
        assert!(cache.has("a", 4) && cache.has("b", 0));
    }

    #[test]
    fn a_frame_put_twice_counts_once_and_a_larger_one_than_all_room_is_not_kept() {
        let mut cache = FrameCache::new(100);
        cache.put("a", 0, jpeg(40));
        cache.put("a", 0, jpeg(50));
        assert_eq!(cache.bytes, 50);
        cache.put("a", 1, jpeg(101));
        assert!(!cache.has("a", 1));
        cache.forget("a");
        assert_eq!((cache.bytes, cache.by_use.len(), cache.clips.len()), (0, 0, 0));
    }
}
