//! Two-dimensional codes: of tags on labels, of the journal's head on a page that was signed.

use datamatrix::{DataMatrix, SymbolList};

use records::value::tag::shown;

/// A two-dimensional code as dark and light modules, without its quiet zone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Code {
    /// Modules across.
    pub width: usize,
    /// Modules down.
    pub height: usize,
    dark: Vec<bool>,
}

impl Code {
    /// The module is dark; everything outside the code is light.
    pub fn dark(&self, x: usize, y: usize) -> bool {
        x < self.width && y < self.height && self.dark[y * self.width + x]
    }

    /// The rows, from the top; true is dark.
    pub fn rows(&self) -> impl Iterator<Item = &[bool]> {
        self.dark.chunks(self.width.max(1))
    }
}

/// The Data Matrix (ECC 200, square) of a text.
///
/// Characters of Latin-1 stand as they are, any other text as UTF-8 with its mark, so a tag without
/// umlauts is read alike by every scanner.
///
/// # Errors
/// The text is longer than a code can hold.
///
/// Source: ISO/IEC 16022.
///
/// ```
/// use meltkin::show::code::matrix;
/// let code = matrix("M31-041").unwrap();
/// // Six ASCII code words, the digits in pairs, fit the symbol of 12 by 12.
/// assert_eq!((code.width, code.height), (12, 12));
/// // The finder: a solid left and lower edge.
/// assert!((0..12).all(|i| code.dark(0, i) && code.dark(i, 11)));
/// ```
pub fn matrix(text: &str) -> Result<Code, String> {
    let sizes = SymbolList::default().enforce_square();
    let code = DataMatrix::encode_str(text, sizes)
        .map_err(|_| format!("{} does not fit a two-dimensional code", shown(text)))?;
    let map = code.bitmap();
    Ok(Code { width: map.width(), height: map.height(), dark: map.bits().to_vec() })
}

impl Code {
    /// The code on paper, its quiet zone around it: `module` mm a module. One path, so that no seam shows between modules.
    pub fn svg(&self, module: f64, label: &str) -> String {
        // The standard asks for a quiet zone of one module; two, for a crease or a stamp beside it.
        let (w, h) = (self.width + 4, self.height + 4);
        let mut path = String::new();
        for (y, row) in self.rows().enumerate() {
            for (x, _) in row.iter().enumerate().filter(|(_, dark)| **dark) {
                path.push_str(&format!("M{} {}h1v1h-1z", x + 2, y + 2));
            }
        }
        let (mm_w, mm_h) = (w as f64 * module, h as f64 * module);
        format!(
            "<svg class=\"code\" style=\"width:{mm_w:.1}mm;height:{mm_h:.1}mm\" viewBox=\"0 0 {w} {h}\" role=\"img\" aria-label=\"{label}\">\
             <rect width=\"{w}\" height=\"{h}\" fill=\"#fff\"/><path d=\"{path}\" fill=\"#000\" shape-rendering=\"crispEdges\"/></svg>"
        )
    }
}
