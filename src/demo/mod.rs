//! Invented foundry histories: the demo and the maker of large ones.
