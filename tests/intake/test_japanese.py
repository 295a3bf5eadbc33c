"""Japanese words beside codes. Common practice, no source; from memory."""

import pytest
from tests.intake.texts import read_text

from squibwise.intake.report.language.japanese import in_english, is_japanese

LINES = """
B1B01 運転席エアバッグ 断線 | driver.front-bag open-or-high
B1B02 助手席側サイドエアバッグ 抵抗過大 過去 | passenger.seat-bag open-or-high
B1B03 右カーテンエアバッグ ボディショート | right.curtain short-to-ground
B1B04 左フロントセンサー 応答無し | nose-left.impact-sensor communication
B1B05 運転席バックルスイッチ ショート | driver.buckle-switch low-or-short
B1B06 ｽﾊﾟｲﾗﾙｹｰﾌﾞﾙ 断線 | driver.clock-spring open-or-high
B1B07 助手席着座センサー 未校正 | passenger.occupant-sensor calibration
B1B08 コンピューター 内部異常 | centre.control-unit internal
B1B09 衝突記録あり | centre.control-unit event-recorded
B1B10 後席左プリテンショナー 抵抗小 | row2-left.retractor-pretensioner low-or-short
B1B11 2列目右サイドエアバッグ 電源ショート | row2-right.seat-bag short-to-battery
B1B12 右Bピラー 加速度センサー 通信異常 | pillar-right.impact-sensor communication
B1B13 運転席シートポジションセンサー 天絡 | driver.seat-position-sensor short-to-battery
"""


@pytest.mark.parametrize("row", LINES.strip().splitlines())
def test_parts_places_and_faults_in_japanese_are_read(row: str) -> None:
    text, _, wanted = row.partition(" | ")
    (line,) = read_text(text).lines
    assert f"{line.component} {line.fault}" == wanted
    assert line.raw == text


def test_what_is_well_or_cleared_is_no_fault() -> None:
    found = read_text("助手席エアバッグ 異常なし\nB1B20 左カーテン 断線 消去済み\n")
    assert [c.component for c in found.coverage.clean] == ["passenger.front-bag"]
    assert [(ln.code, ln.present) for ln in found.lines] == [("B1B20", False)]


def test_the_wheel_on_the_right_is_heard() -> None:
    found = read_text("SRS 右ハンドル車\nB1B30 RH front airbag 断線\n")
    assert [ln.component for ln in found.lines] == ["driver.front-bag"]


def test_the_longest_word_counts_and_strange_ones_stay() -> None:
    words = {"運転席": "driver", "運転席側": "driver side"}
    assert in_english("運転席側窓", words) == " driver side 窓"
    assert is_japanese("ＡＢ")
    assert not is_japanese("Fahrertür")
