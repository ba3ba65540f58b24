"""Tools are called as at a terminal."""

from tests.called import call as call
