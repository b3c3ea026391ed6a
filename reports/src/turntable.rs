//! The turntable of the page: frames of a turn, as designed and as printed, behind a slider.

use std::ops::RangeInclusive;

use crate::pictures::Picture;
use crate::record::StageRecord;
use crate::views::Pictures;

/// Steps of a whole turn; the first looks at the front.
pub(crate) const STEPS: usize = 72;

/// Every how many steps a frame may stand in the page. All of them divide a quarter turn, so that each upright side is
/// seen straight on.
const STRIDES: [usize; 5] = [1, 2, 3, 6, 9];

/// What an element of the page takes beside the addresses of its two frames, in bytes; seldom more than 150.
const AROUND: usize = 400;

/// The two series of frames.
pub(crate) const SERIES: [&str; 2] = ["designed", "printed"];

/// Frames of a turn, each as designed and as printed.
pub(crate) struct Turntable {
    /// The frames, evenly spread over the turn, the first from the front.
    pub(crate) frames: Vec<Frame>,
}

/// One step of the turn.
pub(crate) struct Frame {
    /// How far the piece has turned, in degrees.
    pub(crate) azimuth: usize,
    /// As designed and as printed.
    pub(crate) pictures: [Picture; 2],
}

impl Turntable {
    /// The turntable of a stage's frames: as many as go into `room`, in bytes; none if not even every ninth does.
    pub(crate) fn of(stage: &StageRecord, pictures: Pictures<'_>, room: usize) -> Option<Self> {
        let listed = |name: &String| stage.artefacts.iter().any(|file| file.name == *name);
        let taken = |step: usize, series: &str| {
            let name = frame_name(series, step);
            listed(&name).then(|| pictures(&name)).flatten().and_then(|bytes| Picture::of(&bytes))
        };
        let mut frames: Vec<Option<Frame>> = (0..STEPS)
            .map(|step| {
                let [Some(designed), Some(printed)] = SERIES.map(|series| taken(step, series)) else { return None };
                Some(Frame { azimuth: step * 360 / STEPS, pictures: [designed, printed] })
            })
            .collect();
        let fits = |stride: &usize| {
            let weights = frames.iter().step_by(*stride).map(|frame| frame.as_ref().map(Frame::weight));
            weights.sum::<Option<usize>>().is_some_and(|weight| weight <= room)
        };
        let stride = STRIDES.into_iter().find(fits)?;
        Some(Self { frames: frames.iter_mut().step_by(stride).filter_map(Option::take).collect() })
    }

    /// The first frame.
    pub(crate) fn first(&self) -> &Frame {
        &self.frames[0]
    }

    /// How many degrees lie between two frames.
    pub(crate) fn apart(&self) -> usize {
        360 / self.frames.len()
    }
}

impl Frame {
    /// What it adds to the page, in bytes.
    fn weight(&self) -> usize {
        self.pictures.iter().map(|picture| picture.address.len()).sum::<usize>() + AROUND
    }

    /// The angle, and which side faces the viewer, in words.
    pub(crate) fn says(&self) -> String {
        format!("{}°, {}", self.azimuth, facing(self.azimuth))
    }
}

/// The name of a frame's artefact.
fn frame_name(series: &str, step: usize) -> String {
    format!("turn-{series}-{step:03}.jpg")
}

/// Whether an artefact is a frame of the turn.
pub(crate) fn is_frame(name: &str) -> bool {
    series(name).is_some()
}

/// The series to which a frame belongs, by its name.
pub(crate) fn series(name: &str) -> Option<&'static str> {
    SERIES.into_iter().find(|series| {
        let number = name.strip_prefix(&format!("turn-{series}-")).and_then(|rest| rest.strip_suffix(".jpg"));
        number.is_some_and(|number| number.len() == 3 && number.bytes().all(|digit| digit.is_ascii_digit()))
    })
}

/// Which side faces the viewer when the piece has turned clockwise, as seen from above, by some degrees from its front.
pub(crate) fn facing(azimuth: usize) -> String {
    /// Within an eighth of a turn, either way, a side is said to face the viewer alone.
    const STRAIGHT_ON: RangeInclusive<i64> = -22..=22;
    const UPRIGHT: [&str; 5] = ["front", "right", "back", "left", "front"];
    let azimuth = azimuth % 360;
    let quarter = azimuth / 90;
    let within = i64::try_from(azimuth % 90).unwrap_or_default();
    let (this, next) = (UPRIGHT[quarter], UPRIGHT[quarter + 1]);
    if STRAIGHT_ON.contains(&within) {
        format!("the {this} faces you")
    } else if STRAIGHT_ON.contains(&(within - 90)) {
        format!("the {next} faces you")
    } else {
        format!("between {this} and {next}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_side_that_faces_the_viewer_follows_the_turn() {
        for (azimuth, says) in [
            (0, "the front faces you"),
            (20, "the front faces you"),
            (25, "between front and right"),
            (65, "between front and right"),
            (70, "the right faces you"),
            (180, "the back faces you"),
            (270, "the left faces you"),
            (315, "between left and front"),
            (355, "the front faces you"),
        ] {
            assert_eq!(facing(azimuth), says);
        }
    }

    #[test]
    fn frames_are_told_by_their_names() {
        assert!(is_frame("turn-designed-000.jpg") && is_frame("turn-printed-071.jpg"));
        for other in ["turn.png", "turn-designed-0.jpg", "turn-printed-000.png", "turn-other-000.jpg"] {
            assert!(!is_frame(other), "{other}");
        }
    }

    #[test]
    fn a_stride_keeps_the_four_quarters() {
        assert!(STRIDES.iter().all(|stride| (STEPS / 4).is_multiple_of(*stride)));
    }
}
