//! Part of halfdrop.
