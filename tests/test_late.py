import importlib
import subprocess
import sys
from types import ModuleType

import pytest

PACKAGES = ("trials.steps", "trials.store.records", "trials.store.intake")


@pytest.mark.parametrize("package", PACKAGES)
def test_every_name_is_fetched_from_its_module_and_never_a_module_of_that_name(package):
    late = importlib.import_module(package)
    assert len(late.__all__) > 10
    for name in late.__all__:
        assert not isinstance(getattr(late, name), ModuleType), name
        assert getattr(late, name) is getattr(sys.modules[late._late[name]], name)


def test_a_module_imported_first_does_not_hide_the_step_of_its_name():
    code = "import trials.steps.load; from trials.steps import load; import trials; print(load is trials.load, load)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("True <function load"), done.stdout


def test_an_unknown_name_is_refused():
    from trials import steps

    with pytest.raises(AttributeError, match=r"'trials\.steps' has no attribute 'fitt'"):
        _ = steps.fitt
