//! Times of bulletins resolved to dates, over the ends of months too.

use super::{at, one, with_row};
use fellrun::files::bulletin::{TimesError, resolve_times};
use jiff::Timestamp;

#[test]
fn published_times_over_month_ends() {
    // the products' headings (REFERENCES B.1): data, valid, period of use, reference -> all four with dates
    let cases = [
        (
            "310000Z",
            "310600Z",
            "0200-0900Z",
            "2026-01-31T02:00Z",
            [
                "2026-01-31T00:00Z",
                "2026-01-31T06:00Z",
                "2026-01-31T02:00Z",
                "2026-01-31T09:00Z",
            ],
        ),
        (
            "310000Z",
            "311200Z",
            "0900-1800Z",
            "2026-01-31T02:00Z",
            [
                "2026-01-31T00:00Z",
                "2026-01-31T12:00Z",
                "2026-01-31T09:00Z",
                "2026-01-31T18:00Z",
            ],
        ),
        (
            "310000Z",
            "010000Z",
            "1800-0600Z",
            "2026-01-31T02:00Z",
            [
                "2026-01-31T00:00Z",
                "2026-02-01T00:00Z",
                "2026-01-31T18:00Z",
                "2026-02-01T06:00Z",
            ],
        ),
        (
            "301800Z",
            "010000Z",
            "2000-0300Z",
            "2026-04-30T20:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T00:00Z",
                "2026-04-30T20:00Z",
                "2026-05-01T03:00Z",
            ],
        ),
        (
            "301800Z",
            "010600Z",
            "0300-1200Z",
            "2026-05-01T05:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T06:00Z",
                "2026-05-01T03:00Z",
                "2026-05-01T12:00Z",
            ],
        ),
        (
            "301800Z",
            "011800Z",
            "1200-0000Z",
            "2026-04-30T20:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T18:00Z",
                "2026-05-01T12:00Z",
                "2026-05-02T00:00Z",
            ],
        ),
        // the year's end, a leap day, and midnight written 2400
        (
            "311800Z",
            "010000Z",
            "2000-0300Z",
            "2027-01-01T00:00Z",
            [
                "2026-12-31T18:00Z",
                "2027-01-01T00:00Z",
                "2026-12-31T20:00Z",
                "2027-01-01T03:00Z",
            ],
        ),
        (
            "291800Z",
            "010000Z",
            "2000-0300Z",
            "2028-02-29T20:00Z",
            [
                "2028-02-29T18:00Z",
                "2028-03-01T00:00Z",
                "2028-02-29T20:00Z",
                "2028-03-01T03:00Z",
            ],
        ),
        (
            "301800Z",
            "011800Z",
            "1200-2400Z",
            "2026-04-30T20:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T18:00Z",
                "2026-05-01T12:00Z",
                "2026-05-02T00:00Z",
            ],
        ),
        // no Feb 30: near 1 March the nearest month that fits is still found (data 28 Feb)
        (
            "281800Z",
            "010000Z",
            "2000-0300Z",
            "2026-03-01T00:00Z",
            [
                "2026-02-28T18:00Z",
                "2026-03-01T00:00Z",
                "2026-02-28T20:00Z",
                "2026-03-01T03:00Z",
            ],
        ),
        // a mid-month bulletin, reference three days off
        (
            "151200Z",
            "151800Z",
            "1400-2100Z",
            "2026-04-12T00:00Z",
            [
                "2026-04-15T12:00Z",
                "2026-04-15T18:00Z",
                "2026-04-15T14:00Z",
                "2026-04-15T21:00Z",
            ],
        ),
    ];
    for (data, valid, period, reference, want) in cases {
        let text = with_row("XXX 2715 2715+05")
            .replace("310000Z", data)
            .replace("VALID 310600Z", &format!("VALID {valid}"))
            .replace("0200-0900Z", period);
        let t = resolve_times(&one(&text), at(reference)).unwrap();
        assert_eq!(
            [t.data, t.valid, t.use_from, t.use_to],
            want.map(at),
            "{data} {valid} {period}"
        );
    }
    let text = with_row("XXX 2715 2715+05");
    let odd = one(&text.replace("310600Z", "250600Z"));
    assert!(matches!(
        resolve_times(&odd, at("2026-01-31T00:00Z")),
        Err(TimesError::Calendar { .. })
    ));
    let odd = one(&text.replace("0200-0900Z", "0700-0900Z"));
    assert!(matches!(
        resolve_times(&odd, at("2026-01-31T00:00Z")),
        Err(TimesError::PeriodOfUse { .. })
    ));
    for far in [Timestamp::MIN, Timestamp::MAX] {
        let _ = resolve_times(&one(&text), far);
    }
}
