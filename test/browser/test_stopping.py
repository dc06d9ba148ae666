"""Stopping the pages while they are at work."""

import threading
import time

import httpx

from pages_browser import Served

#: The odds are asked for so often at once that some are under way for longer than is waited for.
SEVERAL = 6


def test_ctrl_c_while_requests_are_under_way_leaves_no_traceback(demo_survey):
    served = Served(demo_survey)
    client = httpx.Client(headers={"origin": served.home}, timeout=60)
    client.get(served.address, follow_redirects=True)
    answers = []

    def ask():
        try:
            found = client.post(f"{served.home}/api/expected/odds", json={"changes": {}})
            answers.append(found.status_code)
        except httpx.HTTPError as error:  # the server went away, as it was told to
            answers.append(type(error).__name__)

    threads = [threading.Thread(target=ask) for _ in range(SEVERAL)]
    for thread in threads:
        thread.start()
    time.sleep(1.5)
    told = served.close()
    for thread in threads:
        thread.join()
    assert any(answer != 200 for answer in answers), "nothing was under way"
    assert "Traceback" not in told
    assert "Error" not in told
