//! Names that look like a mistyped one.

/// Most names proposed.
const SHOWN: usize = 3;

/// The names nearest to a mistyped one: those that contain it or are contained in it, then those a
/// few slips away. None where nothing looks like it.
pub(super) fn nearest<'a>(written: &str, names: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let written = written.to_lowercase();
    // A slip in three letters: more, and short names would all look alike.
    let most = written.chars().count() / 3;
    let mut near: Vec<(usize, &str)> = names
        .filter_map(|name| {
            let lower = name.to_lowercase();
            let part = lower.contains(&written) || written.contains(&lower);
            let slips = slips(&written, &lower);
            (part || slips <= most).then_some((if part { 0 } else { slips }, name))
        })
        .collect();
    near.sort();
    near.into_iter().map(|(_, name)| name).take(SHOWN).collect()
}

/// Letters to put in, take out, change or swap with their neighbour to get from one text to the
/// other (optimal string alignment distance).
fn slips(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let changed = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut least = changed.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(before[j - 2] + 1);
            }
            row.push(least);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_finds_its_name_and_a_strange_word_none() {
        let names = ["YT-014/drive", "YT-014/hv", "YT-021/drive", "Crane 3"];
        let near = |written| nearest(written, names.into_iter());
        assert_eq!(near("YT-041/drve"), ["YT-014/drive", "YT-021/drive"]);
        assert_eq!(near("yt-014"), ["YT-014/drive", "YT-014/hv"]);
        assert_eq!(near("crane3"), ["Crane 3"]);
        assert_eq!(near("pump"), [""; 0]);
        assert_eq!(slips("ab", "ba"), 1);
        assert_eq!(slips("", "abc"), 3);
    }
}
