from trials.decide.kinds import StudyKind
from trials.findings import Finding, Weight
from trials.words.check_groups import check_groups

DRIFT = StudyKind.DRIFT


def test_each_check_stands_in_the_group_of_its_weight():
    grave, look, likely, calm = (
        Finding(DRIFT, weight=weight)
        for weight in (Weight.COULD_CHANGE, Weight.LOOK_AT, Weight.NOT_SURE, Weight.NOTHING_FOUND)
    )
    again, open_still = Finding(StudyKind.SHUFFLED_SPECIMENS), Finding(StudyKind.CHECK_NOT_MADE)
    groups = check_groups([calm, open_still, again, likely, look, grave])
    assert [group.checks for group in groups] == [(grave,), (look,), (likely,), (again,), (calm,), (open_still,)]
    assert [group.calm for group in groups] == [False, False, False, False, True, False]


def test_groups_without_a_check_are_left_out():
    assert check_groups([]) == [] and len(check_groups([Finding(DRIFT, weight=Weight.LOOK_AT)])) == 1
