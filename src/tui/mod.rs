//! The screens. The only module that knows ratatui.
