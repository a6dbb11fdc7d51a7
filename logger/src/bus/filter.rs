//! Filters: which frames the kernel hands over. Off by default; a filtered capture says so.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;
use wheelwitness_capture::can::{EXTENDED, Id};

/// Lets frames pass whose id agrees with `id` in the bits of `mask`, and that have an id of the
/// same length.
///
/// ```
/// use wheelwitness_logger::bus::Filter;
/// let any_sender: Filter = "18FEBF00/1FFFFF00".parse()?;
/// assert!(any_sender.extended);
/// let one: Filter = "7E8".parse()?;
/// assert_eq!((one.id, one.mask, one.extended), (0x7e8, 0x7ff, false));
/// # Ok::<(), String>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Filter {
    /// The id.
    pub id: u32,
    /// The bits of it that count.
    pub mask: u32,
    /// Whether ids of 29 bits are meant, or those of 11.
    pub extended: bool,
}

impl Filter {
    /// Id and mask as the kernel takes them. The length of the id always counts.
    pub fn words(&self) -> (u32, u32) {
        let flag = if self.extended { EXTENDED } else { 0 };
        (self.id | flag, self.mask | EXTENDED)
    }
}

impl FromStr for Filter {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "`{}` is no filter: write an id of 3 or 8 hexadecimal digits, and if only some of \
                 its bits count a mask, such as 7E8 or 18FEBF00/1FFFFF00",
                text.escape_debug()
            )
        };
        let (id, mask) = text.split_once('/').map_or((text, None), |(id, mask)| (id, Some(mask)));
        let (extended, most) = match id.len() {
            3 => (false, u32::from(Id::MAX_STANDARD)),
            8 => (true, Id::MAX_EXTENDED),
            _ => return Err(wrong()),
        };
        let number = |digits: &str| {
            let is_hex = digits.bytes().all(|b| b.is_ascii_hexdigit());
            u32::from_str_radix(digits, 16).ok().filter(|n| is_hex && *n <= most)
        };
        let id = number(id).ok_or_else(wrong)?;
        let mask = mask.map_or(Some(most), number).ok_or_else(wrong)?;
        Ok(Filter { id, mask, extended })
    }
}

impl fmt::Display for Filter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (id, mask) = (self.id, self.mask);
        if self.extended {
            write!(f, "{id:08X}/{mask:08X}")
        } else {
            write!(f, "{id:03X}/{mask:03X}")
        }
    }
}

impl TryFrom<String> for Filter {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Filter> for String {
    fn from(filter: Filter) -> String {
        filter.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_no_filter_is_refused_with_an_example() {
        for text in ["", "7", "800", "7E8/", "7E8/800", "2FFFFFFF", "+E8", "7E8/1/1", "é8"] {
            assert!(text.parse::<Filter>().unwrap_err().contains("18FEBF00"), "{text}");
        }
    }

    proptest! {
        #[test]
        fn a_filter_reads_back_as_itself(id in 0u32..0x800, mask in 0u32..0x800) {
            for (extended, shift) in [(false, 0), (true, 18)] {
                let filter = Filter { id: id << shift, mask: mask << shift, extended };
                prop_assert_eq!(filter.to_string().parse(), Ok(filter));
            }
        }

        #[test]
        fn no_text_makes_the_parser_panic(text in any::<String>()) {
            let _ = text.parse::<Filter>();
        }
    }
}
