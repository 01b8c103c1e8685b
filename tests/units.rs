//! Units against published rows, and the reading of quantities that people write.
