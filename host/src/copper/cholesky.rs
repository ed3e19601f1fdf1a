//! A symmetric positive definite system, sparse and spread over a plane: factored as L·D·Lᵀ in the order of nested dissection
//! (George 1973), which for a mesh of n points fills in n·log n.
//!
//! The factorisation goes up along the elimination tree, row by row (Liu 1986; Davis, "Direct Methods for Sparse Linear
//! Systems", 2006, chapter 4).

/// Parts this small are not cut any more.
const SMALL: usize = 24;

/// The lower half of a symmetric matrix, by columns; the diagonal is among it.
pub(super) struct Symmetric {
    starts: Vec<usize>,
    rows: Vec<usize>,
    values: Vec<f64>,
}

impl Symmetric {
    /// Adds up entries (column, row, value), each pair given in one order only or in both alike.
    pub fn new(size: usize, entries: &[(usize, usize, f64)]) -> Self {
        // Laid out by columns, each in the order given: sums do not depend on anything else.
        let mut ends = vec![0; size + 1];
        for (column, row, _) in entries {
            ends[*column.min(row) + 1] += 1;
        }
        for column in 0..size {
            ends[column + 1] += ends[column];
        }
        let mut laid = vec![(0, 0.0); entries.len()];
        for (column, row, value) in entries {
            let end = &mut ends[*column.min(row)];
            laid[*end] = (*column.max(row), *value);
            *end += 1;
        }
        let mut matrix = Self { starts: vec![0], rows: Vec::new(), values: Vec::new() };
        let mut place = vec![NONE; size];
        let mut begin = 0;
        for end in &ends[..size] {
            let first = matrix.rows.len();
            for (row, value) in &laid[begin..*end] {
                if place[*row] == NONE || place[*row] < first {
                    place[*row] = matrix.rows.len();
                    matrix.rows.push(*row);
                    matrix.values.push(*value);
                } else {
                    matrix.values[place[*row]] += value;
                }
            }
            begin = *end;
            matrix.starts.push(matrix.rows.len());
        }
        matrix
    }

    fn size(&self) -> usize {
        self.starts.len() - 1
    }

    fn column(&self, column: usize) -> impl Iterator<Item = (usize, f64)> + '_ {
        (self.starts[column]..self.starts[column + 1]).map(|i| (self.rows[i], self.values[i]))
    }

    /// Both halves' pattern without the diagonal.
    fn neighbours(&self) -> Vec<Vec<usize>> {
        let mut neighbours = vec![Vec::new(); self.size()];
        for column in 0..self.size() {
            for (row, _) in self.column(column).filter(|(row, _)| *row != column) {
                neighbours[column].push(row);
                neighbours[row].push(column);
            }
        }
        neighbours
    }

    /// Solves for a right side, given where each unknown lies. Nothing if the matrix is not positive definite.
    pub fn solve(&self, right: &[f64], places: &[[f64; 2]]) -> Option<Vec<f64>> {
        let order = order(&self.neighbours(), places);
        let mut place_of = vec![0; order.len()];
        for (place, unknown) in order.iter().enumerate() {
            place_of[*unknown] = place;
        }
        let mut entries = vec![Vec::new(); order.len()];
        for column in 0..self.size() {
            for (row, value) in self.column(column) {
                let (a, b) = (place_of[column], place_of[row]);
                entries[a.max(b)].push((a.min(b), value));
            }
        }
        let factor = Factor::new(&entries)?;
        let mut x: Vec<f64> = order.iter().map(|unknown| right[*unknown]).collect();
        factor.solve(&mut x);
        let mut solution = vec![0.0; x.len()];
        for (unknown, value) in order.into_iter().zip(x) {
            solution[unknown] = value;
        }
        Some(solution)
    }
}

/// The order of elimination: halves of the plane first, then what joins them; at the very end what joins very much.
fn order(neighbours: &[Vec<usize>], places: &[[f64; 2]]) -> Vec<usize> {
    let size = neighbours.len();
    let many = 100 + 4 * size.isqrt();
    let (hubs, rest): (Vec<usize>, Vec<usize>) = (0..size).partition(|i| neighbours[*i].len() > many);
    let mut order = Vec::with_capacity(size);
    let mut half = vec![0; size];
    let mut name = 0;
    dissect(&rest, neighbours, places, &mut half, &mut name, &mut order);
    order.extend(hubs);
    order
}

fn dissect(
    part: &[usize],
    neighbours: &[Vec<usize>],
    places: &[[f64; 2]],
    half: &mut [usize],
    name: &mut usize,
    order: &mut Vec<usize>,
) {
    if part.len() <= SMALL {
        order.extend_from_slice(part);
        return;
    }
    // Of two cuts the one that leaves less between the halves, since the work grows with the cube of that.
    let [one, other] = [0, 1].map(|axis| cut(part, axis, neighbours, places, half, name));
    let Cut { halves, between } = if other.between.len() < one.between.len() { other } else { one };
    for half_of in &halves {
        dissect(half_of, neighbours, places, half, name, order);
    }
    order.extend(between);
}

/// A part in two halves that do not touch, and what stands between them.
struct Cut {
    halves: [Vec<usize>; 2],
    between: Vec<usize>,
}

/// Cuts a part in the middle, across an axis.
fn cut(
    part: &[usize],
    axis: usize,
    neighbours: &[Vec<usize>],
    places: &[[f64; 2]],
    half: &mut [usize],
    name: &mut usize,
) -> Cut {
    let mut left = part.to_vec();
    let middle = left.len() / 2;
    left.select_nth_unstable_by(middle, |a, b| places[*a][axis].total_cmp(&places[*b][axis]).then(a.cmp(b)));
    let mut right = left.split_off(middle);
    left.sort_unstable();
    right.sort_unstable();
    let names = [*name + 1, *name + 2];
    *name += 2;
    for (half_of, name) in [&left, &right].into_iter().zip(names) {
        half_of.iter().for_each(|i| half[*i] = name);
    }
    // What of one half touches the other stands between them: that of either half serves.
    let touches = |i: &usize, other: usize| neighbours[*i].iter().any(|j| half[*j] == other);
    let of_left = left.iter().filter(|i| touches(i, names[1])).count();
    let of_right = right.iter().filter(|i| touches(i, names[0])).count();
    let (whole, parted, other) =
        if of_left <= of_right { (right, left, names[1]) } else { (left, right, names[0]) };
    let (between, rest) = parted.into_iter().partition(|i| touches(i, other));
    Cut { halves: [rest, whole], between }
}

/// L without its unit diagonal, by columns, and D.
struct Factor {
    starts: Vec<usize>,
    /// Half the width of other numbers: reading them takes as much time as reckoning.
    rows: Vec<u32>,
    values: Vec<f64>,
    diagonal: Vec<f64>,
}

const NONE: usize = usize::MAX;

impl Factor {
    /// Of the upper half by columns: entries (row, value) with the row at most the column.
    fn new(columns: &[Vec<(usize, f64)>]) -> Option<Self> {
        let size = columns.len();
        let (mut parent, mut seen, mut counts) = (vec![NONE; size], vec![NONE; size], vec![0; size]);
        for (column, entries) in columns.iter().enumerate() {
            seen[column] = column;
            for &(row, _) in entries {
                let mut i = row;
                while seen[i] != column {
                    if parent[i] == NONE {
                        parent[i] = column;
                    }
                    counts[i] += 1;
                    seen[i] = column;
                    i = parent[i];
                }
            }
        }
        let mut starts = Vec::with_capacity(size + 1);
        starts.push(0);
        let mut end = 0;
        starts.extend(counts.iter().map(|count| {
            end += count;
            end
        }));
        let mut factor =
            Self { starts, rows: vec![0; end], values: vec![0.0; end], diagonal: vec![0.0; size] };
        let mut filled = vec![0; size];
        let mut work = vec![0.0; size];
        let (mut path, mut reach) = (Vec::new(), Vec::new());
        seen.fill(NONE);
        for (column, entries) in columns.iter().enumerate() {
            seen[column] = column;
            reach.clear();
            for &(row, value) in entries {
                work[row] += value;
                let mut i = row;
                while seen[i] != column {
                    path.push(i);
                    seen[i] = column;
                    i = parent[i];
                }
                reach.extend(path.drain(..).rev());
            }
            let mut pivot = std::mem::take(&mut work[column]);
            // Paths of the tree were put down each from its end; from the last to the first they are in order.
            for &i in reach.iter().rev() {
                let value = std::mem::take(&mut work[i]);
                let (begin, end) = (factor.starts[i], factor.starts[i] + filled[i]);
                for (row, entry) in factor.rows[begin..end].iter().zip(&factor.values[begin..end]) {
                    work[*row as usize] -= entry * value;
                }
                let entry = value / factor.diagonal[i];
                pivot -= entry * value;
                factor.rows[end] = column as u32;
                factor.values[end] = entry;
                filled[i] += 1;
            }
            if pivot.is_nan() || pivot <= 0.0 {
                return None;
            }
            factor.diagonal[column] = pivot;
        }
        Some(factor)
    }

    fn solve(&self, x: &mut [f64]) {
        let column = |i: usize| {
            let range = self.starts[i]..self.starts[i + 1];
            self.rows[range.clone()].iter().zip(&self.values[range])
        };
        for i in 0..x.len() {
            let value = x[i];
            column(i).for_each(|(row, entry)| x[*row as usize] -= entry * value);
        }
        x.iter_mut().zip(&self.diagonal).for_each(|(x, pivot)| *x /= pivot);
        for i in (0..x.len()).rev() {
            x[i] -= column(i).map(|(row, entry)| entry * x[*row as usize]).sum::<f64>();
        }
    }
}
