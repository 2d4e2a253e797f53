//! What each address does, one file a subject.

pub(super) mod clients;
