"""What was known of two applications that met all they asked for, to be varied by tests."""

from __future__ import annotations

from windowcast.records.evidence import Evidence

PRE = Evidence(
    pre=True, up=0.01, came_after=0.9, need_mm=12.7, need_days=7.0, wait_days=2.0,
    waited_mm=5.0, up_waiting=0.0, watering_said=True, washing_mm=2.0, washing_limit_mm=25.0,
    rate_share=1.0, up_later=0.0, groups=(3,),
)  # fmt: skip
POST = Evidence(
    pre=False, up=0.95, came_after=0.01, dry_h=48.0, rain_free_h=4.0, air_c=18.0, low_c=10.0,
    good_c=15.0, week_c=16.0, night_c=8.0, night_low_c=4.0, stage=13.0, stage_counted=True,
    largest=22.0, rate_share=1.0, groups=(9,),
)  # fmt: skip
