//! A folder with tens of thousands of files that are no photos.

use crate::common::{ended, flankread, painted_copy};
use serde_json::Value;

#[test]
fn a_tree_of_twenty_thousand_entries_is_walked() {
    let folder = tempfile::tempdir().unwrap();
    for branch in 0..100 {
        let branch = folder.path().join(format!("{branch}/deep/er"));
        std::fs::create_dir_all(&branch).unwrap();
        for leaf in 0..200 {
            std::fs::write(branch.join(format!("{leaf}.txt")), "").unwrap();
        }
    }
    let photo = folder.path().join("77/deep/er/drive.jpg");
    painted_copy("drive-yellow.jpg", &photo, "");
    let (status, told, said) = ended(flankread().arg("batch").arg(folder.path()).arg("--json"));
    assert_eq!(status, Some(0), "{said}");
    // A line a photo.
    let line: Value = serde_json::from_str(&told).unwrap();
    assert_eq!(line["batch"]["set"], "77/deep/er");
}
