//! Reports: terminal, JSON, CSV and self-contained HTML pages.
