//! Results as text, JSON and HTML.
