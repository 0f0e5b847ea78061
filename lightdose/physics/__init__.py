"""Forward calculations: arrays in, arrays out; no files, printing, randomness or dates."""
