use serde::Serialize;

/// How an egg stands in its cell. Source: handling advice reprinted by a smallholder magazine; the
/// air cell lies in the blunt end and stays up.
pub const PLACING: &str = "pointed end down, blunt end with the air cell up";

/// A place in a carton, counted from 1 at the corner by the lid's hinge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Cell {
    /// The row, from the hinge to the front.
    pub row: u16,
    /// The column, from left to right.
    pub column: u16,
}

/// Rows and columns of a carton. Common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Layout {
    /// Rows, the shorter side.
    pub rows: u16,
    /// Columns, the longer side.
    pub columns: u16,
}

impl Layout {
    /// The layout for a carton of this size: 2×3, 2×5, 2×6, 3×6 and 5×6 for the sizes of the trade,
    /// and for any other the two divisors that lie nearest.
    pub fn of(capacity: u16) -> Layout {
        let rows = match capacity {
            6 | 10 | 12 => 2,
            _ => (1..=capacity)
                .take_while(|r| u32::from(*r) * u32::from(*r) <= u32::from(capacity))
                .filter(|r| capacity.is_multiple_of(*r))
                .last()
                .unwrap_or(1),
        };
        Layout {
            rows,
            columns: capacity / rows,
        }
    }

    /// The cells in the order in which eggs are set, heaviest first.
    ///
    /// Neighbours in weight go to cells that face each other across the middle, nearest the middle
    /// first, and every other pair the other way round: the two halves weigh nearly the same and the
    /// heavy eggs stand where the carton bends least.
    pub fn order(self) -> Vec<Cell> {
        // Twice the offset from the middle, so that it stays whole.
        let offset = |cell: &Cell| {
            let y = 2 * i32::from(cell.row) - i32::from(self.rows) - 1;
            let x = 2 * i32::from(cell.column) - i32::from(self.columns) - 1;
            (y, x)
        };
        let mut half: Vec<Cell> = (1..=self.rows)
            .flat_map(|row| (1..=self.columns).map(move |column| Cell { row, column }))
            .filter(|cell| {
                let (y, x) = offset(cell);
                (x, y) <= (0, 0)
            })
            .collect();
        half.sort_by_key(|cell| {
            let (y, x) = offset(cell);
            (x * x + y * y, *cell)
        });
        let mut order = Vec::with_capacity(usize::from(self.rows * self.columns));
        for (i, cell) in half.into_iter().enumerate() {
            let facing = Cell {
                row: self.rows + 1 - cell.row,
                column: self.columns + 1 - cell.column,
            };
            if facing == cell {
                order.push(cell);
            } else if i % 2 == 0 {
                order.extend([cell, facing]);
            } else {
                order.extend([facing, cell]);
            }
        }
        order
    }
}
