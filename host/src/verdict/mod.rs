//! Guard-banded verdicts.
