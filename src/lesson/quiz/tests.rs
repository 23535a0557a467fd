use super::*;

fn answer(question: &Question, pinion_mm: f64, ring_mm: f64, faults: Vec<Fault>) -> Answer {
    Answer {
        drive_first: question.drive_first,
        faults,
        pinion_mm,
        ring_mm,
    }
}

fn true_faults(question: &Question) -> Vec<Fault> {
    let m = question.misalignment;
    let mut faults = Vec::new();
    if m.pinion_mm != 0.0 {
        faults.push(if m.pinion_mm < 0.0 {
            Fault::PinionNear
        } else {
            Fault::PinionFar
        });
    }
    if m.ring_mm != 0.0 {
        faults.push(if m.ring_mm < 0.0 {
            Fault::RingNear
        } else {
            Fault::RingFar
        });
    }
    faults
}

#[test]
fn questions_come_again_from_the_seed_and_get_harder() {
    let (one, again, other) = (
        Quiz::new(5).unwrap(),
        Quiz::new(5).unwrap(),
        Quiz::new(6).unwrap(),
    );
    let mut differ = 0;
    let mut level = 0;
    for n in 1..=40 {
        let question = one.question(n).unwrap();
        assert_eq!(question, again.question(n).unwrap());
        differ += usize::from(question != other.question(n).unwrap());
        assert!(question.level >= level);
        level = question.level;
        assert!(one.is_fair(&question), "{question:?}");
    }
    assert!(differ > 30 && level == 4);
    assert!(one.question(0).is_err() && one.question(MOST + 1).is_err());
    // Some late questions have nothing wrong, some are slanted; first ones never.
    let all: Vec<Question> = (1..=60).map(|n| one.question(n).unwrap()).collect();
    let nothing = |q: &&Question| q.misalignment == Misalignment::default();
    assert!(all[8..].iter().filter(nothing).count() > 3);
    assert_eq!(all[..7].iter().filter(nothing).count(), 0);
    assert!(all.iter().any(|q| q.set == 2) && all[..7].iter().all(|q| q.set < 2));
}

#[test]
fn undoing_what_is_wrong_gets_all_points_and_leaving_it_few() {
    let quiz = Quiz::new(11).unwrap();
    for n in 1..=30 {
        let q = quiz.question(n).unwrap();
        let m = q.misalignment;
        let best = score(
            &quiz,
            &q,
            &answer(&q, -m.pinion_mm, -m.ring_mm, true_faults(&q)),
        );
        assert_eq!(best.points, 100, "{q:?} {best:?}");
        let idle = score(&quiz, &q, &answer(&q, 0.0, 0.0, vec![]));
        if m == Misalignment::default() {
            assert_eq!(idle.points, 100);
        } else {
            assert_eq!(idle.points, 15, "{q:?} {idle:?}");
        }
        let worse = score(&quiz, &q, &answer(&q, 0.6, 0.6, true_faults(&q)));
        assert!(worse.points <= 30 && !worse.after.right, "{worse:?}");
    }
}

/// The words alone do not count: a wrong name with a move that works beats a right name without one.
#[test]
fn what_would_happen_next_counts_most() {
    let quiz = Quiz::new(3).unwrap();
    let q = quiz.question(1).unwrap();
    let m = q.misalignment;
    let other = if m.pinion_mm < 0.0 {
        Fault::PinionFar
    } else {
        Fault::PinionNear
    };
    let works = score(&quiz, &q, &answer(&q, -m.pinion_mm, 0.0, vec![other]));
    let talks = score(&quiz, &q, &answer(&q, m.pinion_mm, 0.0, true_faults(&q)));
    assert!(works.points > 2 * talks.points, "{works:?} {talks:?}");
    let half = score(
        &quiz,
        &q,
        &answer(&q, -0.35 * m.pinion_mm, 0.0, true_faults(&q)),
    );
    assert!(half.outcome > 0 && half.outcome < 60, "{half:?}");
    // Spoiling a set that was right costs the outcome.
    let right = (8..60).map(|n| quiz.question(n).unwrap());
    let right = right
        .into_iter()
        .find(|q| q.misalignment == Misalignment::default())
        .unwrap();
    let spoilt = score(&quiz, &right, &answer(&right, 0.3, 0.0, vec![]));
    assert_eq!(spoilt.outcome, 0);
}

#[test]
fn badness_and_being_right_are_one_thing() {
    let quiz = Quiz::new(1).unwrap();
    let q = quiz.question(9).unwrap();
    let card = &quiz.offered(&q).set.card;
    for k in 0..400 {
        let moved = Misalignment {
            pinion_mm: 0.4 * share(1, 2 * k) - 0.2,
            ring_mm: 0.4 * share(1, 2 * k + 1) - 0.2,
            ..Misalignment::default()
        };
        let case = quiz.case(&q, moved);
        assert_eq!(score::badness(&case, card) <= 1.0, case.is_right(card));
    }
}

#[test]
fn photos_show_what_the_question_says() {
    let quiz = Quiz::new(2).unwrap();
    let q = quiz.question(1).unwrap();
    let [a, b] = quiz.photos(&q, (160, 120)).unwrap();
    let case = quiz.case(&q, Misalignment::default());
    let [first, second] = if q.drive_first {
        Side::BOTH
    } else {
        [Side::Coast, Side::Drive]
    };
    assert_eq!(a.patch, case.state.side(first).patch);
    assert_eq!(b.patch, case.state.side(second).patch);
    assert!(a.picture != b.picture);
}

#[test]
fn a_class_s_table_is_graded_line_by_line() {
    let quiz = Quiz::new(5).unwrap();
    let q = quiz.question(1).unwrap();
    let letter = if q.drive_first { "a" } else { "b" };
    let pinion = -q.misalignment.pinion_mm;
    let way = if pinion < 0.0 { "toward" } else { "away" };
    let fault = true_faults(&q)[0].word();
    let text = format!(
        "Learner,Question,Drive_photo,Fault,Pinion,Ring,seed\n\
         Ines,1,{letter},{fault},{:.4}mm {way},0,5\n\
         Otto,1,{letter},none,0,0,\n\
         Otto,1,x,none,0,0,5\n\
         Otto,1,{letter},none,0,0,6\n\
         Ines,2000,{letter},none,0,0,5\n\
         Ines,1\n",
        pinion.abs()
    );
    let grades = graded(&quiz, &text, None, true).unwrap();
    assert_eq!(grades.answers.len(), 2);
    assert_eq!(grades.answers[0].score.points, 100);
    assert_eq!(grades.answers[1].score.points, 15);
    let lines: Vec<u64> = grades.refused.iter().map(|r| r.line).collect();
    assert_eq!(lines, [4, 5, 6, 7]);
    assert!(grades.refused[1].why.contains("--seed 6"));
    assert_eq!(grades.learners[0].learner, "Ines");
    // As a spreadsheet of a country with a decimal comma saves it.
    let semicolons = text
        .replace(',', ";")
        .replace("Drive_photo", "DRIVE PHOTO")
        .replace('.', ",");
    let again = graded(&quiz, &semicolons, None, true).unwrap();
    assert_eq!(again.answers.len(), 2);
    assert_eq!(again.answers[0].score.points, 100);
    let missing = graded(&quiz, "learner,question\n", None, true);
    assert!(missing.unwrap_err().to_string().contains("drive_photo"));
}

fn graded(
    quiz: &Quiz,
    text: &str,
    count: Option<u32>,
    seed: bool,
) -> Result<grade::Grades, QuizError> {
    let table = grade::Table::read(text, std::path::Path::new("class.csv"))?;
    let units = crate::units::Units::Mm;
    Ok(grade::grade(
        quiz,
        &table,
        grade::Told { count, seed, units },
    ))
}

#[test]
fn a_question_counts_once_none_is_invented_and_an_unanswered_one_is_zero() {
    let quiz = Quiz::new(5).unwrap();
    let head = "learner,question,drive_photo,fault,pinion,ring";
    let q = quiz.question(1).unwrap();
    let m = q.misalignment;
    let fault = true_faults(&q)[0].word();
    let letter = if q.drive_first { "a" } else { "b" };
    let other = if q.drive_first { "b" } else { "a" };
    let way = if m.pinion_mm < 0.0 { "away" } else { "toward" };
    let right = format!("1,{letter},{fault},{:.4}mm {way},0", m.pinion_mm.abs());
    let text =
        format!("{head}\nIna,1,{other},none,0,0\nina,{right}\nIna,99,a,none,0,0\nOle,{right}\n");
    let grades = graded(&quiz, &text, Some(4), true).unwrap();
    let refused: Vec<(u64, &str)> = grades
        .refused
        .iter()
        .map(|r| (r.line, r.why.as_str()))
        .collect();
    assert_eq!(refused.len(), 2);
    assert!(
        refused[0].0 == 3 && refused[0].1.contains("line 2"),
        "{refused:?}"
    );
    assert!(
        refused[1].0 == 4 && refused[1].1.contains("the quiz has 4"),
        "{refused:?}"
    );
    let points: Vec<f64> = grades.learners.iter().map(|l| l.mean_points).collect();
    assert_eq!(points, [0.0, 25.0]);
    assert_eq!(grades.learners[1].flank, 0.25);
    assert_eq!(grades.notes, [""; 0]);
    // The table itself may say how many, and which quiz.
    let said = text
        .replace(head, &format!("{head},questions,seed"))
        .replace(",0\n", ",0,2,5\n");
    let grades = graded(&quiz, &said, None, false).unwrap();
    assert_eq!(
        (grades.questions, grades.learners[1].mean_points),
        (2, 50.0)
    );
    assert_eq!(grades.notes, [""; 0]);
    // Nobody says: the teacher is told what was taken.
    let grades = graded(&quiz, &text, None, false).unwrap();
    assert_eq!(grades.notes.len(), 2);
    assert!(grades.notes[0].contains("--seed") && grades.notes[1].contains("--count"));
}

#[test]
fn a_class_that_answers_another_quiz_is_noticed() {
    let (ours, theirs) = (Quiz::new(5).unwrap(), Quiz::new(1).unwrap());
    let mut text = "learner,question,drive_photo,fault,pinion,ring\n".to_owned();
    for n in 1..=12 {
        let letter = if theirs.question(n).unwrap().drive_first {
            "a"
        } else {
            "b"
        };
        text.push_str(&format!("Ina,{n},{letter},none,0,0\n"));
    }
    let asks = |quiz: &Quiz| {
        let grades = graded(quiz, &text, Some(12), true).unwrap();
        grades.notes.iter().any(|n| n.contains("guessing"))
    };
    assert!(asks(&ours) && !asks(&theirs));
}

#[test]
fn tables_are_read_in_the_letters_of_old_spreadsheets() {
    assert_eq!(grade::decoded(b"J\xf6rg"), "J\u{f6}rg");
    assert_eq!(grade::decoded("\u{feff}J\u{f6}rg".as_bytes()), "J\u{f6}rg");
}

/// What is said after an answer follows from the model, and does not contradict its verdict.
#[test]
fn an_answer_is_told_why_and_what_it_leaves() {
    let quiz = Quiz::new(5).unwrap();
    let units = crate::units::Units::Mm;
    for n in 1..=12 {
        let q = quiz.question(n).unwrap();
        let m = q.misalignment;
        let undone = answer(&q, -m.pinion_mm, -m.ring_mm, true_faults(&q));
        let [cause, left] = why::why(&quiz, &q, &undone, units);
        assert!(left.ends_with("right."), "{left}");
        if m.pinion_mm != 0.0 {
            let end = if m.pinion_mm < 0.0 {
                "toward the root"
            } else {
                "toward the tip"
            };
            assert!(cause.contains(end), "{cause}");
        }
        if m.ring_mm != 0.0 {
            let way = if m.ring_mm < 0.0 { "less" } else { "more" };
            assert!(cause.contains(way), "{cause}");
        }
        let worse = answer(&q, 0.5_f64.copysign(m.pinion_mm), 0.0, vec![]);
        let [_, left] = why::why(&quiz, &q, &worse, units);
        assert!(left.contains("too "), "{left}");
        assert!(!score(&quiz, &q, &worse).after.right);
        if n == 1 {
            let drawn = image::load_from_memory(&why::drawn(&quiz, &q, &worse).unwrap()).unwrap();
            assert!(drawn.width() > drawn.height());
        }
    }
}

#[test]
fn progress_goes_on_where_it_stopped_and_knows_its_quiz() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("progress.json");
    let quiz = Quiz::new(5).unwrap();
    let mut progress = progress::Progress::open(&path, Some("Ines"), 5).unwrap();
    assert_eq!(progress.next(), 1);
    let q = quiz.question(1).unwrap();
    let own = answer(&q, 0.0, 0.0, vec![]);
    progress.answers.push(progress::Answered {
        question: 1,
        level: 1,
        score: score(&quiz, &q, &own),
        answer: own,
    });
    progress.save(&path).unwrap();
    let again = progress::Progress::open(&path, None, 5).unwrap();
    assert_eq!(again, progress);
    assert_eq!((again.next(), again.mean()), (2, Some(15.0)));
    assert!(progress::Progress::open(&path, None, 6).is_err());
    assert!(progress::Progress::open(&path, Some("Otto"), 5).is_err());
    std::fs::write(&path, "{}").unwrap();
    assert!(progress::Progress::open(&path, None, 5).is_err());
}
