//! What comes from outside: the time and randomness.

use notebook::Moment;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

/// Where time and randomness come from. Tests and the demo bring their own.
pub trait Outside: Send + Sync + 'static {
    /// The present moment.
    fn now(&self) -> Moment;
    /// Random bytes.
    fn random(&self, bytes: &mut [u8]);
}

/// The clock and the randomness of this machine.
#[derive(Debug)]
pub struct Machine {
    offset_minutes: i16,
}

impl Machine {
    /// The machine, with the minutes by which its local clock is ahead of UTC.
    pub fn new(offset_minutes: i16) -> Self {
        Self { offset_minutes }
    }

    /// The machine, with the offset that its local clock has now, asked of the system's own program.
    pub fn here() -> Self {
        Self::new(local_offset().unwrap_or(0))
    }
}

/// The offset of local time in minutes, by `date +%z`: the standard library does not know it.
fn local_offset() -> Option<i16> {
    let output = std::process::Command::new("date")
        .arg("+%z")
        .output()
        .ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    let text = text.trim();
    let (sign, digits) = match text.split_at_checked(1)? {
        ("+", digits) => (1, digits),
        ("-", digits) => (-1, digits),
        _ => return None,
    };
    let hours: i16 = digits.get(..2)?.parse().ok()?;
    let minutes: i16 = digits.get(2..4)?.parse().ok()?;
    Some(sign * (hours * 60 + minutes))
}

impl Outside for Machine {
    fn now(&self) -> Moment {
        let ms = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .map_or(0, |d| i64::try_from(d.as_millis()).unwrap_or(i64::MAX));
        Moment::new(ms, self.offset_minutes)
    }

    fn random(&self, bytes: &mut [u8]) {
        // Without randomness no identity and no session can be made: nothing sensible is left to do.
        if let Err(error) = getrandom::fill(bytes) {
            panic!("the system gives no random bytes: {error}");
        }
    }
}

/// A clock that is set by hand and randomness from a seed: the same every time.
#[derive(Debug)]
pub struct Told {
    ms: AtomicI64,
    offset_minutes: i16,
    state: AtomicU64,
}

impl Told {
    /// A clock that stands at a moment.
    pub fn at(moment: Moment, seed: u64) -> Self {
        Self {
            ms: AtomicI64::new(moment.milliseconds()),
            offset_minutes: moment.offset_minutes(),
            state: AtomicU64::new(seed),
        }
    }

    /// Sets the clock, forward or back.
    pub fn set(&self, moment: Moment) {
        self.ms.store(moment.milliseconds(), Ordering::SeqCst);
    }
}

impl Outside for Told {
    fn now(&self) -> Moment {
        Moment::new(self.ms.load(Ordering::SeqCst), self.offset_minutes)
    }

    fn random(&self, bytes: &mut [u8]) {
        // SplitMix64 (Steele, Lea and Flood, OOPSLA 2014). For tests only: it can be foretold.
        for chunk in bytes.chunks_mut(8) {
            let mut z = self
                .state
                .fetch_add(0x9e37_79b9_7f4a_7c15, Ordering::SeqCst)
                .wrapping_add(0x9e37_79b9_7f4a_7c15);
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^= z >> 31;
            chunk.copy_from_slice(&z.to_le_bytes()[..chunk.len()]);
        }
    }
}
