"""Where the capture time is read, and which dates are believed."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.photo.taken import (
    EXIF_CHANGED_AT,
    EXIF_CHANGED_OFFSET,
    EXIF_TAKEN_AT,
    EXIF_TAKEN_OFFSET,
    Taken,
    capture_time,
)

NOW = datetime(2025, 7, 1, 12)
MODIFIED = datetime(2025, 6, 20, 8, 30)
JUNE_14 = datetime(2025, 6, 14, 7, 30, 12)
NOON_14 = datetime(2025, 6, 14, 12)


def taken(exif=None, name="leaf.jpg", now=NOW):
    return capture_time(exif or {}, name, MODIFIED, now)


def test_the_exif_capture_time_comes_first():
    exif = {EXIF_TAKEN_AT: "2025:06:14 07:30:12", EXIF_CHANGED_AT: "2025:06:15 00:00:00"}
    assert taken(exif, "IMG_20250101_000000.jpg") == Taken(JUNE_14, "exif")


def test_the_exif_time_of_change_serves_where_there_is_no_other():
    exif = {EXIF_CHANGED_AT: "2025:06:14 07:30:12"}
    assert taken(exif, "IMG_20250101_000000.jpg") == Taken(JUNE_14, "exif")


@pytest.mark.parametrize(
    ("date_tag", "offset_tag"),
    [(EXIF_TAKEN_AT, EXIF_TAKEN_OFFSET), (EXIF_CHANGED_AT, EXIF_CHANGED_OFFSET)],
)
def test_the_offset_is_kept_where_the_photo_has_one(date_tag, offset_tag):
    when = taken({date_tag: "2025:06:14 07:30:12", offset_tag: "-07:00"}).taken_at
    assert when.utcoffset() == timedelta(hours=-7)
    assert when.replace(tzinfo=None) == JUNE_14


@pytest.mark.parametrize(("offset", "hours"), [("+14:00", 14), ("-14:00", -14), ("+05:45", 5.75)])
def test_the_offset_of_any_clock_on_earth_is_kept(offset, hours):
    when = taken({EXIF_TAKEN_AT: "2025:06:14 07:30:12", EXIF_TAKEN_OFFSET: offset}).taken_at
    assert when.utcoffset() == timedelta(hours=hours)


@pytest.mark.parametrize(
    "offset",
    ["+14:01", "-14:30", "+15:00", "", "  :  ", "+99:00", "Z", "summer", b"\xff\xff", 7, None],
)
def test_an_offset_that_makes_no_sense_is_left_out(offset):
    when = taken({EXIF_TAKEN_AT: "2025:06:14 07:30:12", EXIF_TAKEN_OFFSET: offset})
    assert when == Taken(JUNE_14, "exif")


@pytest.mark.parametrize(
    "text",
    [
        "0000:00:00 00:00:00",
        "2025:13:01 00:00:00",
        "2025:02:30 00:00:00",
        "2025:06:14 25:00:00",
        "2099:01:01 00:00:00",
        "9999:12:31 23:59:59",
        "1989:12:31 23:59:59",
        "0001:01:01 00:00:00",
        "yesterday",
        "١٤٤٦:06:14 07:30:12",
        b"\xff\xfe\x00\x01",
        "2025:06:14",
    ],
)
@pytest.mark.parametrize("offset", ["", "+14:00", "-14:00"])
def test_a_date_that_makes_no_sense_is_flagged_and_the_next_source_serves(text, offset):
    exif = {EXIF_TAKEN_AT: text, EXIF_TAKEN_OFFSET: offset}
    assert taken(exif) == Taken(MODIFIED, "file", bad_date=True)
    assert taken(exif, "IMG_20250614_073012.jpg") == Taken(JUNE_14, "name", bad_date=True)
    exif[EXIF_CHANGED_AT] = "2025:06:14 07:30:12"
    assert taken(exif) == Taken(JUNE_14, "exif", bad_date=True)


@pytest.mark.parametrize("blank", ["", "    :  :     :  :  ", "\0" * 19, b"\0" * 20, None])
def test_a_blank_date_means_unknown_and_is_not_flagged(blank):
    # EXIF: when the time is unknown, all but the colons is filled with blanks [memory].
    assert taken({EXIF_TAKEN_AT: blank}) == Taken(MODIFIED, "file")


@pytest.mark.parametrize(("hours_ahead", "bad"), [(23, False), (24, False), (25, True)])
@pytest.mark.parametrize("offset", ["", "+00:00"])
def test_a_clock_may_be_ahead_by_a_day(hours_ahead, bad, offset):
    ahead = NOW + timedelta(hours=hours_ahead)
    if offset:
        ahead = ahead.astimezone(UTC)
    exif = {EXIF_TAKEN_AT: f"{ahead:%Y:%m:%d %H:%M:%S}", EXIF_TAKEN_OFFSET: offset}
    assert taken(exif).bad_date is bad


@pytest.mark.parametrize(
    "name",
    [
        "IMG_20250614_073012.jpg",
        "PXL_20250614_073012345.jpg",
        "PXL_20250614_073012345.MP.jpg",
        "20250614_073012.jpg",
        "20250614073012.jpg",
        "2025-06-14 07.30.12.jpg",
        "2025-06-14_07-30-12.heic",
        "2025-06-14T07:30:12.png",
        "photo 2025-06-14 at 07.30.12.jpeg",
        "IMG_20250614_073012_1 (2).jpg",
        "plant7-20250614-073012.jpg",
    ],
)
def test_times_in_names_as_phones_write_them_are_read(name):
    assert taken(name=name) == Taken(JUNE_14, "name")


@pytest.mark.parametrize(
    "name",
    [
        "2025-06-14_B3.jpg",
        "B3 20250614.jpg",
        "2025.06.14.jpg",
        "IMG-20250614-WA0007.jpg",
        "2025-06-14_996199.jpg",
        "14.06.2025.jpg",
        "14.6.2025.jpg",
        "14-06-2025.jpg",
        "06-14-2025.jpg",
        "B3_14_06_2025_1.jpg",
    ],
)
def test_a_name_with_a_date_alone_gives_noon(name):
    assert taken(name=name) == Taken(datetime(2025, 6, 14, 12), "name")


@pytest.mark.parametrize(
    "name",
    [
        "IMG_4711.jpg",
        "20251345_000000.jpg",
        "12-06-2025.jpg",
        "30.02.2025.jpg",
        "1.2.3.jpg",
        "19700101_000000.jpg",
        "120250614.jpg",
        "2025-0614.jpg",
        "1718350212345.jpg",
        "202506141.jpg",
        "",
    ],
)
def test_a_name_without_a_date_that_makes_sense_leaves_the_file_date(name):
    assert taken(name=name) == Taken(MODIFIED, "file")


@pytest.mark.parametrize(
    "name",
    [
        "2030-06-22.jpg",
        "22.06.2030.jpg",
        "20990101_000000.jpg",
        "20250702_130000.jpg",  # an hour beyond a day ahead; its day's noon is not
    ],
)
def test_a_name_whose_date_is_still_to_come_is_flagged_and_passed_over(name):
    assert taken(name=name) == Taken(MODIFIED, "file", future_date=True)
    assert taken(name=f"2025-06-14/{name}") == Taken(NOON_14, "name", future_date=True)


@pytest.mark.parametrize(
    ("name", "time"),
    [
        ("2026-07-10_0631_0.jpg", "06:31:00"),
        ("2026-07-10_0631_B3_1.jpg", "06:31:00"),
        ("2026-07-10T07-30.jpg", "07:30:00"),
        ("2026-07-10 07.30.jpg", "07:30:00"),
        ("10.07.2026, 07.30.jpg", "07:30:00"),
        ("20260710_0730.jpg", "07:30:00"),
        ("2026-07-10 07h30.jpg", "07:30:00"),
        ("2026-07-10 at 7.30.12 PM.jpeg", "19:30:12"),
        ("2026-07-10 at 12.05.00\u202fAM.jpeg", "00:05:00"),
        ("2026-07-10_2471.jpg", "12:00:00"),
        # Hours that no half of a day has are taken as they stand.
        ("2026-07-10 at 13.05.00 AM.jpeg", "13:05:00"),
        ("2026-07-10 at 0.05.00 PM.jpeg", "00:05:00"),
        ("2026-07-10 at 12.05 PM.jpeg", "12:05:00"),
        ("2026-07-10 at 1.05 p.m..jpeg", "13:05:00"),
    ],
)
def test_a_time_right_after_the_date_in_a_name_is_read(name, time):
    when = taken(name=name, now=datetime(2026, 7, 11))
    assert when == Taken(datetime.fromisoformat(f"2026-07-10 {time}"), "name")


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("2026-06-01/IMG_1.jpg", Taken(datetime(2026, 6, 1, 12), "name")),
        ("12.06.2026.jpg", Taken(datetime(2026, 6, 12, 12), "name")),
        ("2030-06-22.jpg", Taken(datetime(2026, 7, 12, 9), "file", future_date=True)),
        ("12-06-2026.jpg", Taken(datetime(2026, 7, 12, 9), "file")),
    ],
)
def test_days_are_taken_from_names_only_where_they_leave_no_doubt(path, expected):
    assert capture_time({}, path, datetime(2026, 7, 12, 9), datetime(2026, 7, 12, 10)) == expected


@pytest.mark.parametrize(
    "path",
    [
        "2025-06-14/IMG_1.jpg",
        "garden/2025-06-14/North/B1/IMG_1.jpg",
        "B1/14.06.2025/IMG_1.jpg",
        "2025-06-01/2025-06-14 evening/IMG_1.jpg",
    ],
)
def test_a_date_in_a_folders_name_serves_where_the_file_has_none(path):
    assert taken(name=path) == Taken(NOON_14, "name")
    assert taken(name=path.replace("IMG_1", "2025-06-13")).taken_at.day == 13


@pytest.mark.parametrize(
    "path",
    [
        "2025-06-30/IMG_1.jpg",  # the file is older than that: a folder of copies
        "2025-06-14/a/b/c/IMG_1.jpg",
        "12-06-2025/IMG_1.jpg",
    ],
)
def test_a_folders_date_that_leaves_doubt_is_not_read(path):
    assert taken(name=path) == Taken(MODIFIED, "file")


@pytest.mark.parametrize(("minute", "source"), [(0, "name"), (-1, "file")])
def test_a_folder_may_be_named_for_the_day_after_its_photos(minute, source):
    """Its noon lies at most a day after the file's own date, as with a walk at midnight."""
    modified = datetime(2025, 6, 13, 12) + timedelta(minutes=minute)
    assert capture_time({}, "2025-06-14/IMG_1.jpg", modified, NOW).taken_from == source


def test_dates_are_believed_from_1990_on():
    assert taken({EXIF_TAKEN_AT: "1990:01:01 00:00:00"}).taken_at == datetime(1990, 1, 1)
    assert taken(name="1990-01-01_0730.jpg").taken_at == datetime(1990, 1, 1, 7, 30)


def test_the_first_date_that_makes_sense_in_a_name_counts():
    assert taken(name="20991231_20250614_073012.jpg") == Taken(JUNE_14, "name")


@given(st.datetimes(datetime(1990, 1, 1), NOW), st.integers(-14 * 60, 14 * 60))
def test_every_time_that_a_camera_writes_comes_back(moment, offset_min):
    moment = moment.replace(microsecond=0)
    sign, ahead = "+-"[offset_min < 0], abs(offset_min)
    exif = {
        EXIF_TAKEN_AT: f"{moment:%Y:%m:%d %H:%M:%S}",
        EXIF_TAKEN_OFFSET: f"{sign}{ahead // 60:02}:{ahead % 60:02}",
    }
    zone = timezone(timedelta(minutes=offset_min))
    when = taken(exif, now=NOW + timedelta(days=2))
    assert when == Taken(moment.replace(tzinfo=zone), "exif")
    assert taken(name=f"IMG_{moment:%Y%m%d_%H%M%S}.jpg").taken_at == moment


@given(
    st.dictionaries(
        st.sampled_from([EXIF_TAKEN_AT, EXIF_TAKEN_OFFSET, EXIF_CHANGED_AT, EXIF_CHANGED_OFFSET]),
        st.one_of(
            st.text(),
            st.binary(),
            st.integers(),
            st.floats(),
            st.tuples(st.integers()),
            st.from_regex(r"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d"),
        ),
    ),
    st.text(),
)
def test_nothing_in_exif_or_name_can_fail(exif, name):
    when = taken(exif, name)
    assert when.taken_from in ("exif", "name", "file")
    assert when.taken_at.year >= 1990
