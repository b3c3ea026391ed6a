//! Signs of 3 × 5 dots. No two dots of a sign touch in a corner alone, so that a sign of cubes is one clean body.

/// Dots along and across a sign.
pub(super) const SIZE: [i32; 2] = [3, 5];

/// The dots of a digit, or of one of the letters C, F, L and T: columns from the left, rows from the top.
pub(super) fn dots(sign: char) -> impl Iterator<Item = [i32; 2]> {
    let rows: [u8; 5] = match sign {
        '0' => [0b111, 0b101, 0b101, 0b101, 0b111],
        '1' => [0b010, 0b110, 0b010, 0b010, 0b111],
        '2' => [0b111, 0b001, 0b111, 0b100, 0b111],
        '3' => [0b111, 0b001, 0b111, 0b001, 0b111],
        '4' => [0b101, 0b101, 0b111, 0b001, 0b001],
        '5' => [0b111, 0b100, 0b111, 0b001, 0b111],
        '6' => [0b111, 0b100, 0b111, 0b101, 0b111],
        '7' => [0b111, 0b001, 0b001, 0b001, 0b001],
        '8' => [0b111, 0b101, 0b111, 0b101, 0b111],
        '9' => [0b111, 0b101, 0b111, 0b001, 0b111],
        'C' => [0b111, 0b100, 0b100, 0b100, 0b111],
        'F' => [0b111, 0b100, 0b111, 0b100, 0b100],
        'L' => [0b100, 0b100, 0b100, 0b100, 0b111],
        'T' => [0b111, 0b010, 0b010, 0b010, 0b010],
        _ => [0; 5],
    };
    (0..SIZE[1]).flat_map(move |row| {
        (0..SIZE[0]).filter(move |column| rows[row as usize] >> (2 - column) & 1 == 1).map(move |column| [column, row])
    })
}
