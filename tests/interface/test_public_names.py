"""What other programs may import."""

import subprocess
import sys

import pytest

import chatter


def test_public_names_are_sorted_and_resolve():
    assert list(chatter.__all__) == sorted(chatter.__all__)
    for name in chatter.__all__:
        assert getattr(chatter, name) is not None


def test_contract_names_are_public():
    # The contract's "The same from Python".
    assert {"analyse_cut", "analyse_tap", "measure_noise", "ChatterError"} <= set(chatter.__all__)


def test_unknown_name_raises_attribute_error():
    with pytest.raises(AttributeError, match="no attribute 'analyse_soup'"):
        _ = chatter.analyse_soup


def test_every_error_passes_between_processes():
    import pickle

    from chatter import errors

    told = [
        errors.BadValueError("rpm", 0, "a number above 0"),
        errors.FileProblemError("a.wav", "it is empty", "record again"),
        errors.OutputError.told_by_system("a.csv", OSError(28, "No space left on device")),
        errors.InputError("no cut"),
    ]
    for error in told:
        back = pickle.loads(pickle.dumps(error))
        assert (type(back), str(back), vars(back)) == (type(error), str(error), vars(error))


def test_every_error_is_a_chatter_error():
    from chatter import errors

    kinds = [
        kind
        for kind in vars(errors).values()
        if isinstance(kind, type) and kind.__module__ == errors.__name__
    ]
    assert len(kinds) >= 7
    assert all(issubclass(kind, chatter.ChatterError) for kind in kinds)


def test_version_is_the_one_that_is_installed():
    from importlib.metadata import PackageNotFoundError, version

    try:
        installed = version("chatter-by-ear")
    except PackageNotFoundError:
        pytest.skip("the package is not installed here; CI installs it")
    assert chatter.__version__ == installed


def test_importing_chatter_loads_nothing_heavy():
    code = "import sys, chatter; print([m for m in ('numpy', 'scipy', 'numba', 'av') if m in sys.modules])"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert shown.strip() == "[]"
