//! The display list: what stands where on which page, with its role in the document.
