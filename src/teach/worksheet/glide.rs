//! How far the glide reaches.

use super::exercise::{Draft, Ending, Exercise, Grade, Near, Topic, Unit, within};
use super::teacher::Teacher;
use crate::quantity::Draw;
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::teach::glide::KEPT_BACK_M;

/// Feet in a nautical mile.
const FT_PER_NM: f64 = M_PER_NM / M_PER_FT;
const STILL: &str = "Way = height x glide ratio, 6,076 ft in a mile; the ratio is that of the model of this aircraft";
const WIND: &str = "Way over the ground = height x ratio x ground speed / airspeed, a flat glide (FAA Glider Flying Handbook, from memory)";
const HALF: Near = within(0.5, Unit::Nm, "the ratio of a model is known no better");

/// The lever does nothing where the propeller windmills more slowly than the governor governs.
fn slack(t: &Teacher, mut d: Draft, windmilling: f64) -> Option<Exercise> {
    let windmilling = d.given("windmilling", windmilling, Unit::Rpm);
    let lowest = t.aircraft().propeller.lowest_governed_rev_s * 60.0;
    let lowest = d.given("lowest", lowest, Unit::Rpm);
    if windmilling >= lowest {
        return None;
    }
    d.end(
        Topic::Glide,
        Grade::Hard,
        Ending {
            question: "Engine dead at {weight}, oil pressure left. With the propeller lever forward the glide ratio is {ratio} at {ias} \
                       indicated, and the propeller windmills at {windmilling}; the governor governs down to {lowest}. You are {height} \
                       above the ground and keep {kept} for a pattern. How many miles farther does the lever, full back, carry you at \
                       the same speed in still air?",
            steps: vec![
                "Lever full back asks the governor for {lowest}. The propeller turns at {windmilling} already, too slowly for that.",
                "So the governor holds the blades on the fine stop, where they lie with the lever forward: nothing changes.",
            ],
            answer: 0.0,
            near: within(0.0, Unit::Nm, "the lever either moves the blades or does not"),
            source: "The governor as this program models it: blades on the fine stop below the lowest governed RPM (common practice, no source)",
            sane: (0.0, 0.0),
        },
    )
}

/// The glide.
pub(super) fn glide(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    let g = draw.pick(t.glides())?;
    let kept_ft = KEPT_BACK_M / M_PER_FT;
    // Full back feathers a hub that can; that is another question.
    let asks_lever = !t.fixed() && !t.aircraft().propeller.feathers();
    let lever = grade == Grade::Hard && asks_lever && draw.coin();
    let kind = match grade {
        Grade::Easy => "glide_reach",
        Grade::Medium => "glide_in_wind",
        Grade::Hard if lever && g.back.is_none() => "glide_lever_slack",
        Grade::Hard if lever => "glide_lever",
        Grade::Hard => "glide_height",
    };
    let mut d = Draft::new(kind);
    d.given("weight", g.weight_lb, Unit::Pounds);
    d.given("ias", g.ias_kt, Unit::Knots);
    let ratio = d.given("ratio", g.ratio, Unit::Ratio);
    if grade == Grade::Easy || lever {
        let height = d.given("height", draw.step(3_000.0, 9_000.0, 500.0), Unit::Feet);
        let kept = d.given("kept", kept_ft, Unit::Feet);
        let usable = d.worked("usable", height - kept, Unit::Feet);
        let reach = usable * ratio / FT_PER_NM;
        if !lever {
            return d.end(
                Topic::Glide,
                grade,
                Ending {
                    question: if t.fixed() {
                        "Engine dead at {weight}, propeller windmilling, {ias} indicated: the glide ratio is {ratio}. You are {height} \
                         above the ground and keep {kept} for a pattern. How far does the glide reach in still air?"
                    } else {
                        "Engine dead at {weight}, propeller windmilling with the lever forward, {ias} indicated: the glide ratio is \
                         {ratio}. You are {height} above the ground and keep {kept} for a pattern. How far does the glide reach in still \
                         air?"
                    },
                    steps: vec![
                        "Height to use: {height} - {kept} = {usable}.",
                        "{usable} x {ratio} / 6,076.",
                    ],
                    answer: reach,
                    near: within(0.3, Unit::Nm, "a third of a mile is less than the ratio of a model is worth"),
                    source: STILL,
                    sane: (1.5, 25.0),
                },
            );
        }
        let Some((back, back_ias)) = g.back else {
            return slack(t, d, g.rpm);
        };
        let back = d.given("back", back, Unit::Ratio);
        d.given("back_ias", back_ias, Unit::Knots);
        d.worked("reach", reach, Unit::Nm);
        let far = d.worked("far", usable * back / FT_PER_NM, Unit::Nm);
        return d.end(
            Topic::Glide,
            grade,
            Ending {
                question: "Engine dead at {weight}, oil pressure left. With the propeller lever forward the glide ratio is {ratio} at {ias} \
                           indicated, with the lever full back {back} at {back_ias}. You are {height} above the ground and keep {kept} for \
                           a pattern. How many miles farther does the lever carry you in still air?",
                steps: vec![
                    "Height to use: {height} - {kept} = {usable}.",
                    "Forward: {usable} x {ratio} / 6,076 = {reach}. Back: {usable} x {back} / 6,076 = {far}.",
                    "{far} - {reach}. The field is chosen first, and the checklist comes before the lever.",
                ],
                answer: far - reach,
                near: within(0.1, Unit::Nm, "a tenth of a mile is one step of the printed figures"),
                source: STILL,
                sane: (0.4, 10.0),
            },
        );
    }
    let tas = d.given("tas", g.tas_kt, Unit::Knots);
    let wind = d.given("wind", draw.step(5.0, 30.0, 5.0), Unit::Knots);
    let head = draw.coin();
    let ground = d.worked(
        "gs",
        if head { tas - wind } else { tas + wind },
        Unit::Knots,
    );
    let over = d.worked("over", ratio * ground / tas, Unit::Ratio);
    let step = if head {
        "Over the ground: {ratio} x ({tas} - {wind}) / {tas} = {over}."
    } else {
        "Over the ground: {ratio} x ({tas} + {wind}) / {tas} = {over}."
    };
    let kept = d.given("kept", kept_ft, Unit::Feet);
    if grade == Grade::Medium {
        let height = d.given("height", draw.step(3_000.0, 9_000.0, 500.0), Unit::Feet);
        let usable = d.worked("usable", height - kept, Unit::Feet);
        return d.end(
            Topic::Glide,
            grade,
            Ending {
                question: if head {
                    "Engine dead at {weight}, propeller windmilling, {ias} indicated: the glide ratio in still air is {ratio}, the true \
                     airspeed {tas}. The head wind is {wind}. You are {height} above the ground and keep {kept} for a pattern. How far \
                     does the glide reach?"
                } else {
                    "Engine dead at {weight}, propeller windmilling, {ias} indicated: the glide ratio in still air is {ratio}, the true \
                     airspeed {tas}. The tail wind is {wind}. You are {height} above the ground and keep {kept} for a pattern. How far \
                     does the glide reach?"
                },
                steps: vec![
                    step,
                    "Height to use: {height} - {kept} = {usable}.",
                    "{usable} x {over} / 6,076.",
                ],
                answer: usable * over / FT_PER_NM,
                near: HALF,
                source: WIND,
                sane: (2.0, 30.0),
            },
        );
    }
    let away = d.given("away", draw.step(3.0, 12.0, 1.0), Unit::Nm);
    let needed = d.worked("needed", away * FT_PER_NM / over, Unit::Feet);
    d.end(
        Topic::Glide,
        grade,
        Ending {
            question: if head {
                "A field lies {away} away, straight into a head wind of {wind}. Engine dead at {weight}, propeller windmilling, {ias} \
                 indicated, {tas} true: the glide ratio in still air is {ratio}. How high above it must you be to reach it with {kept} left \
                 for a pattern?"
            } else {
                "A field lies {away} away, with a tail wind of {wind}. Engine dead at {weight}, propeller windmilling, {ias} \
                 indicated, {tas} true: the glide ratio in still air is {ratio}. How high above it must you be to reach it with {kept} left \
                 for a pattern?"
            },
            steps: vec![
                step,
                "Height for {away}: {away} x 6,076 / {over} = {needed}.",
                "{needed} + {kept}.",
            ],
            answer: needed + kept,
            near: within(200.0, Unit::Feet, "a tenth in the ratio is a hundred feet or two"),
            source: WIND,
            sane: (2_000.0, 12_000.0),
        },
    )
}
