"""Packages of the wheel: `hpwhsim`, and within it the tables of `shared/`, for `hpwhsim.verification`."""

from setuptools import find_packages, setup

SHARED = "hpwhsim.verification.shared"

setup(
    packages=[*find_packages(include=["hpwhsim*"]), SHARED],
    package_dir={SHARED: "shared"},
)
