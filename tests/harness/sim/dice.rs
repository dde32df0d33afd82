/// Chance from one number: SplitMix64, by its published constants.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// Dice whose throws all follow from this number.
    pub fn new(seed: u64) -> Dice {
        Dice(seed ^ 0x5851_f42d_4c95_7f2d)
    }

    /// Any number.
    pub fn any(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from 0 to below `n`; 0 for none.
    pub fn below(&mut self, n: usize) -> usize {
        (self.any() % (n.max(1) as u64)) as usize
    }

    /// A number from `lo` to `hi`.
    pub fn from_to(&mut self, lo: i64, hi: i64) -> i64 {
        lo + self.below((hi - lo + 1) as usize) as i64
    }

    /// Whether it happens, once in `n` times.
    pub fn once_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    /// One of several; there must be one.
    pub fn pick<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[self.below(all.len())]
    }

    /// Sixteen or so random bytes.
    pub fn bytes<const N: usize>(&mut self) -> [u8; N] {
        std::array::from_fn(|_| self.any() as u8)
    }
}
