//! The check sum of FIT files: CRC-16/ARC (reflected polynomial 0xA001, initial value 0).

const TABLE: [u16; 256] = table();

const fn table() -> [u16; 256] {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 256 {
        let mut crc = byte as u16;
        let mut bit = 0;
        while bit < 8 {
            crc = if crc & 1 == 1 {
                (crc >> 1) ^ 0xA001
            } else {
                crc >> 1
            };
            bit += 1;
        }
        table[byte] = crc;
        byte += 1;
    }
    table
}

/// The check sum of `bytes`.
pub(super) fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0, |crc, byte| {
        (crc >> 8) ^ TABLE[usize::from((crc ^ u16::from(*byte)) & 0xFF)]
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The check value of CRC-16/ARC as every catalogue of check sums states it.
    #[test]
    fn the_check_value_is_met() {
        assert_eq!(crc16(b"123456789"), 0xBB3D);
    }

    /// Two real file headers with their check sums.
    #[test]
    fn real_headers_are_met() {
        let first = [
            0x0e, 0x10, 0x4d, 0x08, 0xce, 0x03, 0, 0, 0x2e, 0x46, 0x49, 0x54,
        ];
        let second = [
            0x0e, 0x10, 0x1e, 0x08, 0xce, 0xf0, 0x06, 0, 0x2e, 0x46, 0x49, 0x54,
        ];
        assert_eq!(crc16(&first).to_le_bytes(), [0x29, 0xb7]);
        assert_eq!(crc16(&second).to_le_bytes(), [0x19, 0x90]);
    }
}
