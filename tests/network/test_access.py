"""Codes and keys: one code for one phone, wrong tries limited by address and in all, and a renewal ends all."""

import pytest

from match import calibration
from match.network.access import Access, AccessLimits, Refusal, neighbourhood

LIMITS = AccessLimits(code_digits=9, wrong_per_address=5, wrong_in_total=20, wrong_within=15, phones=3, stay=12)


class Clock:
    def __init__(self):
        self.seconds = 1000.0

    def __call__(self):
        return self.seconds


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def access(clock):
    return Access(LIMITS, clock)


def wrong(access):
    """Return a code of the right length that is not the right one."""
    return f"{(int(access.shown().code) + 1) % 10**9:09d}"


def test_a_code_or_a_ticket_lets_one_phone_in_and_is_then_replaced(access):
    first = access.shown()
    key = access.enter("192.0.2.1", code=first.code)
    assert access.admits(key)
    second = access.shown()
    assert (second.code, second.ticket) != (first.code, first.ticket)
    assert access.enter("192.0.2.1", code=first.code) is Refusal.WRONG
    assert access.enter("192.0.2.1", ticket=first.ticket) is Refusal.WRONG
    other = access.enter("192.0.2.1", ticket=second.ticket)
    assert access.admits(other)
    assert access.admits(key)
    assert access.shown().phones == 2


def test_a_code_may_be_typed_in_its_groups(access):
    code = access.shown().code
    assert len(code) == LIMITS.code_digits
    assert access.admits(access.enter("192.0.2.1", code=f" {code[:3]} {code[3:6]}-{code[6:]}"))


@pytest.mark.parametrize("given", ["", " ", "0", "é" * 9, "\ud800", "1" * 400])
def test_nothing_but_the_code_lets_in(access, given):
    for sent in ({"code": given}, {"ticket": given}, {"code": given, "ticket": given}):
        assert access.enter("192.0.2.1", **sent) is Refusal.WRONG
    assert not access.admits(given)


def test_one_neighbourhood_gets_few_wrong_tries_and_then_not_even_the_right_one_counts(access, clock):
    for _ in range(5):
        assert access.enter("192.0.2.1", code=wrong(access)) is Refusal.WRONG
    assert access.enter("192.0.2.1", code=access.shown().code) is Refusal.TOO_MANY_TRIES
    assert access.admits(access.enter("192.0.2.2", code=access.shown().code))
    clock.seconds += 15 * 60
    assert access.admits(access.enter("192.0.2.1", code=access.shown().code))


def test_many_addresses_get_no_more_tries_together_and_the_qr_code_goes_on_working(access):
    answers = [access.enter(f"192.0.2.{number}", code=wrong(access)) for number in range(200)]
    assert answers.count(Refusal.WRONG) == 20
    assert set(answers[20:]) == {Refusal.TOO_MANY_TRIES}
    assert access.shown().wrong_tries == 20
    assert access.admits(access.enter("192.0.2.250", ticket=access.shown().ticket))


def test_an_ipv6_computer_that_changes_its_address_for_every_try_is_one_neighbour(access):
    answers = [access.enter(f"2001:db8:1:2::{number:x}", code=wrong(access)) for number in range(1, 30)]
    assert answers.count(Refusal.WRONG) == 5


def test_what_counts_as_one_address():
    """RFC 4291, sections 2.5.1 and 2.5.5.2: 64 bits name the interface; ::ffff:a.b.c.d is the IPv4 address."""
    assert neighbourhood("192.0.2.1") == neighbourhood("::ffff:192.0.2.1")
    assert neighbourhood("192.0.2.1") != neighbourhood("192.0.2.2")
    assert neighbourhood("2001:db8::1") == neighbourhood("2001:db8::ffff:ffff:ffff:ffff")
    assert neighbourhood("2001:db8::1") != neighbourhood("2001:db8:0:1::1")
    assert neighbourhood("fe80::1%eth0") == neighbourhood("fe80::2")
    assert neighbourhood("") == neighbourhood("no address")


def test_a_renewal_shuts_everybody_out_and_old_codes_stay_old(access):
    key = access.enter("192.0.2.1", code=access.shown().code)
    before = access.shown()
    access.renew()
    assert not access.admits(key)
    assert access.shown().phones == 0
    assert access.enter("192.0.2.1", code=before.code) is Refusal.WRONG
    assert access.enter("192.0.2.1", ticket=before.ticket) is Refusal.WRONG


def test_another_start_knows_no_key_and_no_code_of_the_one_before(access, clock):
    key, shown = access.enter("192.0.2.1", code=access.shown().code), access.shown()
    again = Access(LIMITS, clock)
    assert not again.admits(key)
    assert again.enter("192.0.2.1", code=shown.code) is Refusal.WRONG
    assert again.enter("192.0.2.1", ticket=shown.ticket) is Refusal.WRONG


def test_a_phone_stays_for_a_day_of_work_and_a_full_house_lets_nobody_more_in(access, clock):
    keys = [access.enter("192.0.2.1", ticket=access.shown().ticket) for _ in range(3)]
    before = access.shown()
    assert access.enter("192.0.2.1", ticket=before.ticket) is Refusal.FULL
    assert access.shown() == before
    assert access.admits(access.enter("192.0.2.1", ticket=before.ticket, former=keys[0])), "it is in already"
    assert not access.admits(keys[0])
    clock.seconds += 12 * 3600
    assert not any(access.admits(key) for key in keys)
    assert access.admits(access.enter("192.0.2.1", ticket=access.shown().ticket))


def test_the_shipped_limits_leave_a_guesser_less_than_one_in_a_million_a_day():
    limits = calibration.load(AccessLimits, "network", "access")
    tries = limits.wrong_in_total * (10 * 60 / limits.wrong_within)
    assert tries / 10**limits.code_digits < 1e-6
