"""First paint and layout shift on a throttled phone, and Today's time from the warm cache.

    python benchmarks/bench_paint.py

Needs the ``browser`` extra and a Chromium. The phone: 360 x 740, 1.6 Mbit/s, 150 ms, a quarter of
the CPU.
"""

from __future__ import annotations

import json
import statistics

from bench_web import alone, server
from playwright.sync_api import sync_playwright

PAINT = """() => new Promise(done => {
  let shift = 0;
  new PerformanceObserver(l => l.getEntries().forEach(e => { shift += e.value; }))
    .observe({ type: "layout-shift", buffered: true });
  const paint = () => performance.getEntriesByName("first-contentful-paint")[0];
  setTimeout(() => done([paint() ? paint().startTime : null, shift]), 1500);
})"""


def main() -> None:
    found: dict[str, object] = {}
    with server() as port, sync_playwright() as playwright:
        found["today_median_ms"] = alone(port, "/s/sample/today", 100)
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox", "--disable-gpu"]
        )
        for screen in ("today", "season", "plan"):
            runs = []
            for _ in range(3):
                context = browser.new_context(viewport={"width": 360, "height": 740})
                page = context.new_page()
                cdp = context.new_cdp_session(page)
                cdp.send("Emulation.setCPUThrottlingRate", {"rate": 4})
                cdp.send("Network.enable")
                cdp.send(
                    "Network.emulateNetworkConditions",
                    {"offline": False, "latency": 150, "downloadThroughput": 200_000,
                     "uploadThroughput": 90_000},
                )  # fmt: skip
                page.goto(f"http://127.0.0.1:{port}/s/sample/{screen}")
                runs.append(page.evaluate(PAINT))
                context.close()
            found[f"{screen}_first_paint_ms"] = round(statistics.median(run[0] for run in runs))
            found[f"{screen}_layout_shift"] = round(max(run[1] for run in runs), 4)
        browser.close()
    print(json.dumps(found, indent=2))


if __name__ == "__main__":
    main()
