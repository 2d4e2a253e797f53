//! The counts that a plan takes, least and most: whatever lies outside is a slip of the finger. Common practice, no source.

/// Sets of a session.
pub const SETS: [u16; 2] = [1, 20];

/// Repetitions of a set.
pub const REPETITIONS: [u16; 2] = [1, 200];

/// Hold of a repetition, s.
pub const HOLD_S: [u16; 2] = [1, 3600];

/// Time of a lowering, s.
pub const LOWERING_S: [u16; 2] = [1, 60];

/// Share of the usual load, %.
pub const SHARE_PERCENT: [u16; 2] = [1, 150];

/// By how much a share rises, %.
pub const SHARE_STEP_PERCENT: [u16; 2] = [1, 100];

/// Days from one session to the next.
pub const DAYS_BETWEEN: [u16; 2] = [1, 14];

/// Sessions in a row before a dose rises.
pub const SESSIONS_TO_RISE: [u16; 2] = [1, 50];

/// Sessions in a row that end a stage.
pub const EXIT_SESSIONS: [u16; 2] = [1, 100];
