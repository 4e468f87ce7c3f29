"""Which address a phone is told: one of this computer's own on a private network, found without asking anybody."""

import pytest

from match.errors import NetworkError
from match.network.addresses import address_for, is_own, likeliest_first, own_addresses


def test_addresses_of_a_network_come_before_those_inside_the_computer_and_public_ones_are_left_out():
    """RFC 1918 names the private networks, RFC 3927 the addresses that a computer gives itself."""
    found = [
        ("lo", "127.0.0.1"),
        ("eth1", "169.254.7.7"),
        ("bridge0", "172.17.0.1"),
        ("eth0", "8.8.8.8"),
        ("wlan0", "192.168.1.20"),
        ("enp3s0", "10.0.0.5"),
        ("Wi-Fi", "192.168.1.20"),
    ]
    assert likeliest_first(found) == ("192.168.1.20", "10.0.0.5", "172.17.0.1", "169.254.7.7")


def test_this_computers_own_are_found():
    assert all(not address.startswith("127.") for address in own_addresses())


@pytest.mark.parametrize("given", ["0.0.0.0", "::", "224.0.0.1", "desk.invalid", "192.0.2.7:8502", " "])
def test_what_is_not_one_address_is_refused(given):
    with pytest.raises(NetworkError, match=r"give one of this computer's own"):
        address_for(given)


def test_it_is_known_whether_this_computer_still_has_an_address():
    """RFC 5737: 203.0.113.x belongs to nobody."""
    assert is_own("127.0.0.2")
    assert all(is_own(address) for address in own_addresses())
    assert not is_own("203.0.113.7")
    assert not is_own("2001:db8::7")


def test_an_address_is_taken_as_given():
    assert address_for("127.0.0.2") == "127.0.0.2"
    assert address_for("FD00::2") == "fd00::2"
