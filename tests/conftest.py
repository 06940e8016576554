"""How the tests are spread over the machine."""

import os


def pytest_xdist_auto_num_workers(config) -> int:
    """Use one worker more than there are cores: some tests wait for a browser or a process."""
    return (os.cpu_count() or 1) + 1
