"""Why a recording ended, as a store holds it: a rule of this house, no source."""

from workbench.base.ends import EndSays, ends_of, stored_ends


def test_what_the_first_versions_stored_as_sentences_is_understood():
    assert ends_of("the time is over; all was read") == (EndSays.TIME_OVER, EndSays.ALL_READ)
    assert ends_of("stopped by the person") == (EndSays.STOPPED_BY_PERSON,)


def test_a_reason_is_stored_once_and_by_its_name_and_a_device_speaks_for_itself():
    said = "/dev/ttyACM0 is gone"
    stored = stored_ends(["the time is over", said, "", "the time is over"])
    assert stored == f"time_over; {said}"
    assert ends_of(stored) == (EndSays.TIME_OVER, said)
    assert ends_of("") == ()
