//! The scripts that pages may run, put together from small ones, and the content security policy's leave for them.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// The script behind the choice of day or night.
pub(crate) const THEME: &str = include_str!("../templates/script/theme.js");

/// The script behind the slider of the turn. It reads what is in the page already: no text of a record is part of it.
pub(crate) const TURNTABLE: &str = include_str!("../templates/script/turn.js");

/// The script that draws the piece in the round, with the library that it needs: `vendor/build` makes it. It reads the GLB
/// that is in the page.
pub(crate) const IN_THE_ROUND: &str = include_str!("../vendor/three-view.min.js");

/// The script of a night in its parts, of which the last puts the others together. It too reads what is in the page, and puts
/// it elsewhere as text.
pub(crate) const NIGHT: &[&str] = &[
    include_str!("../templates/script/night/known.js"),
    include_str!("../templates/script/night/words.js"),
    include_str!("../templates/script/night/link.js"),
    include_str!("../templates/script/night/sieve.js"),
    include_str!("../templates/script/night/order.js"),
    include_str!("../templates/script/night/plot.js"),
    include_str!("../templates/script/night/beside.js"),
    include_str!("../templates/script/night/choose.js"),
];

/// A script as it stands in a page: browsers read every line's end as one line feed (HTML Standard, 13.2.3.5), and what
/// they hash is what they read.
pub(crate) fn inline(script: &str) -> String {
    script.replace("\r\n", "\n").replace('\r', "\n")
}

/// The source expression that lets a policy allow just this script (Content Security Policy Level 3, 2.3.1), without its
/// quotes.
pub(crate) fn leave(inline: &str) -> String {
    format!("sha256-{}", STANDARD.encode(Sha256::digest(inline.as_bytes())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_is_that_of_the_standard() {
        // FIPS 180-4, example "abc": ba7816bf 8f01cfea 414140de 5dae2223 b00361a3 96177a9c b410ff61 f20015ad.
        assert_eq!(leave("abc"), "sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
        // The example of Content Security Policy Level 3, "Usage of hashes".
        assert_eq!(leave("alert('Hello, world.');"), "sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng=");
    }

    #[test]
    fn line_ends_are_those_that_a_browser_reads() {
        assert_eq!(inline("a;\r\nb;\rc;\n"), "a;\nb;\nc;\n");
    }

    #[test]
    fn the_scripts_ask_for_nothing_and_make_no_markup() {
        for word in
            ["fetch", "XMLHttp", "import", "eval", "innerHTML", "Function", "document.write", "WebSocket", "</", "<!--"]
        {
            assert!([&[THEME, TURNTABLE], NIGHT].concat().iter().all(|script| !script.contains(word)), "{word}");
        }
    }

    /// The library knows how to ask for files, which the policy forbids: but nothing in it ends the script or begins another.
    #[test]
    fn the_library_cannot_end_its_script() {
        for word in ["</", "<!--", "<script", "eval(", "new Function", "innerHTML", "import("] {
            assert!(!IN_THE_ROUND.contains(word), "{word}");
        }
        assert_eq!(inline(IN_THE_ROUND), IN_THE_ROUND);
        // Its licence goes wherever it goes.
        let notice = include_str!("../vendor/three.LICENSE").lines().find(|line| line.starts_with("Copyright"));
        assert!(notice.is_some_and(|notice| IN_THE_ROUND[..2000].contains(notice)));
    }
}
