//! Names of files as parts of addresses.

/// A name as a part of an address (RFC 3986, 2.1 and 2.3): whatever is not unreserved is written by its bytes.
pub(crate) fn part(name: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'.' | b'_' | b'~');
    name.bytes().map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") }).collect()
}

/// A name that may have a folder in front, as a path of an address.
pub(crate) fn path(name: &str) -> String {
    name.split('/').map(part).collect::<Vec<_>>().join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_unreserved_is_written_by_its_bytes() {
        // RFC 3986, 2.3: unreserved are letters, digits, `-`, `.`, `_` and `~`.
        assert_eq!(part("piece-1_a~.3mf"), "piece-1_a~.3mf");
        assert_eq!(part("a b/\"é#?"), "a%20b%2F%22%C3%A9%23%3F");
    }
}
