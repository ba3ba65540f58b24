"""Pictures of the technical report: scales that hold what they are chosen for."""

from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.reports.technical import pictures
from pipeline.reports.technical.pictures import Mark, choose_scale, draw_marks


@example([5e-324], False)
@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=5), st.booleans())
def test_a_scale_holds_what_it_is_chosen_for(values, log):
    scale = choose_scale([Mark(value) for value in values], log=log)
    assert scale.low < scale.high
    places = [scale.place(value) for value in sorted(values)]
    assert places == sorted(places)
    assert all(pictures.MARGIN <= place <= pictures.WIDTH - pictures.MARGIN for place in places)
    if not log:
        assert scale.low <= min(values) + 1e-9
        assert max(values) <= scale.high + 1e-9 * abs(scale.high)


def test_a_picture_places_dot_and_limits():
    scale = choose_scale([Mark(0.5, 0, 1)])
    drawn = draw_marks([Mark(0.5, 0.0, 1.0)], scale, reference=0.5)
    assert f'cx="{pictures.WIDTH / 2}"' in drawn
    assert f'd="M{float(pictures.MARGIN)} 10.0H{float(pictures.WIDTH - pictures.MARGIN)}"' in drawn
    assert 'class="reference"' in drawn
