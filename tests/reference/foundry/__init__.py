"""The rooms of the invented foundry: each module writes the records of its stations."""
