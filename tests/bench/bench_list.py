"""The front desk's list with 100 intakes and with 100,000: time to open it, to turn the page, to search.

Both shops are measured in the same run, one request after the other in turn, through the whole application (session,
query, page). What is reported is the ratio of the medians; the aim is at most 1.5 for opening and paging.

Usage: bench_list.py [intakes]   (default 100000)
"""

from __future__ import annotations

import re
import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from sqlalchemy import insert

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from intakebot.definitions import load_definitions
from intakebot.records.tables import case_words, conversations
from tests.web.shop import NOW, Browser, Shop, open_shop

ROUNDS = 60
AIM = 1.5
WAITS = ("shop_answer", "customer_consent", "box", "bench", "collection", "nothing")
NAMES = ("ada", "bo", "cleo", "dee", "eli", "fay", "gus", "hal")


def fill(shop: Shop, count: int) -> None:
    """Half of them wait for the shop (so that both lists fill a page); names repeat, references do not."""
    with shop.store.unit_of_work() as work:
        for start in range(0, count, 5000):
            numbers = range(start, min(start + 5000, count))
            work.connection.execute(insert(conversations), [row(number) for number in numbers])
            work.connection.execute(
                insert(case_words), [word for number in numbers for word in words(number)]
            )
        work.commit()


def row(number: int) -> dict[str, object]:
    moment = NOW - timedelta(minutes=number)
    return {
        "id": f"c_{number:032x}", "reference": f"R{number:06d}", "version": 1, "token_hash": f"{number:064x}", "family": "disc_drive",
        "locale": "en", "channel": "web", "definitions_version": "v", "rate_card": "card", "phase": "open", "floor": "self",
        "waits_for": WAITS[0 if number % 2 == 0 else number % 6], "customer_name": f"{NAMES[number % 8].title()} Example{number}", "device": "dvd_player",
        "has_hazard": False, "opened_at": moment, "updated_at": moment, "message_count": 3, "event_count": 9,
        "legal_hold": False, "snapshot": {}, "job": {},
    }  # fmt: skip


def words(number: int) -> list[dict[str, str]]:
    return [
        {"word": word, "conversation_id": f"c_{number:032x}"}
        for word in (NAMES[number % 8], f"example{number}", f"r{number:06d}")
    ]


def took(browser: Browser, path: str) -> float:
    """Milliseconds for one page."""
    began = time.perf_counter()
    answer = browser.client.get(path, buffered=True)
    passed = (time.perf_counter() - began) * 1000
    if answer.status_code != 200:
        raise SystemExit(f"{path}: {answer.status_code}")
    return passed


def second_page(browser: Browser) -> str:
    """The address of the next page of the whole list."""
    html = browser.client.get("/desk?waits_for=all", buffered=True).get_data(as_text=True)
    found = re.search(r'href="(/desk\?[^"]*after=[^"]+)"', html)
    if found is None:
        raise SystemExit("the list has no second page")
    return found.group(1).replace("&amp;", "&")


def main() -> int:
    """Print one line for each kind of request; 1 when opening or paging is above the aim."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    definitions = load_definitions(Path(__file__).resolve().parents[2])
    with tempfile.TemporaryDirectory() as small_folder, tempfile.TemporaryDirectory() as large_folder:
        shops = [open_shop(Path(small_folder), definitions), open_shop(Path(large_folder), definitions)]
        for shop, size in zip(shops, (100, count), strict=True):
            fill(shop, size)
        browsers = [shop.browser("desk") for shop in shops]
        paths = {
            "open: waiting for us": ["/desk", "/desk"],
            "open: all": ["/desk?waits_for=all"] * 2,
            "turn the page": [second_page(browser) for browser in browsers],
            "search a reference": ["/desk?q=R000042", "/desk?q=R000042"],
        }
        print(f"front desk list, 100 and {count} intakes, {ROUNDS} requests each, median ms")
        worst = 0.0
        for name, pair in paths.items():
            times: tuple[list[float], list[float]] = ([], [])
            for _ in range(ROUNDS):
                for number in (0, 1):
                    times[number].append(took(browsers[number], pair[number]))
            small, large = statistics.median(times[0]), statistics.median(times[1])
            print(f"  {name:22} {small:7.2f} {large:7.2f}   ratio {large / small:.2f}")
            worst = max(worst, large / small) if not name.startswith("search") else worst
        print(f"  worst of opening and paging: {worst:.2f} (aim: at most {AIM})")
        for shop in shops:
            shop.close()
    return 0 if worst <= AIM else 1


if __name__ == "__main__":
    raise SystemExit(main())
