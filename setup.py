"""Packages of the wheel: `hpwhsim`, and the tables of `shared/`, which `hpwhsim.verification` reads, within it."""

from setuptools import find_packages, setup

SHARED = "hpwhsim.verification.shared"

setup(
    packages=[*find_packages(include=["hpwhsim*"]), SHARED],
    package_dir={SHARED: "shared"},
)
