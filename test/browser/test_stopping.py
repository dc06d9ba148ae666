"""Stopping the pages while they are at work."""

import json
import threading
import time
from http.cookiejar import CookieJar
from urllib.error import HTTPError
from urllib.request import HTTPCookieProcessor, Request, build_opener

from pages_browser import Served

#: The odds are asked for so often at once that some are under way for longer than is waited for.
SEVERAL = 6


def test_ctrl_c_while_requests_are_under_way_leaves_no_traceback(demo_survey):
    served = Served(demo_survey)
    browser = build_opener(HTTPCookieProcessor(CookieJar()))
    browser.open(served.address).close()
    heads = {"origin": served.home, "content-type": "application/json"}
    odds = Request(f"{served.home}/api/expected/odds", json.dumps({}).encode(), heads)
    answers = []

    def ask():
        try:
            with browser.open(odds, timeout=60) as found:
                answers.append(found.status)
        except HTTPError as error:
            answers.append(error.code)
        except OSError as error:  # the server went away, as it was told to
            answers.append(type(error).__name__)

    threads = [threading.Thread(target=ask) for _ in range(SEVERAL)]
    for thread in threads:
        thread.start()
    time.sleep(1.5)
    told = served.close()
    for thread in threads:
        thread.join()
    assert not {403, 404, 422} & set(answers)
    assert any(answer != 200 for answer in answers), "nothing was under way"
    assert "Traceback" not in told
    assert "Error" not in told
