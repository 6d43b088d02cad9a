"""The command line's verb of laying out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from cyclopts import App, Parameter

from kerfwright.app.cli_words import AsJson, on_a_screen, over_and_over, print_json

if TYPE_CHECKING:
    from kerfwright.app.layout import LaidOut

MOST_OFFCUTS = 5


def hang_on(app: App) -> None:
    """Add the verb."""
    app.command(lay_out)


def lay_out(
    piece: Path,
    *,
    rack: Path,
    bench: Path | None = None,
    wishes: Path | None = None,
    out: Path | None = None,
    think_s: Annotated[float, Parameter(name="--seconds")] = 10.0,
    as_json: AsJson = False,
) -> None:
    """Lay the parts of a piece out on your boards, round knots and along the grain: what to saw from which, what is left over.

    Parameters
    ----------
    piece
        The piece file or its folder.
    rack
        A folder with a file for every board you have.
    bench
        The bench file, for machine, recipe and choices; default: bench.toml beside the piece.
    wishes
        A file of wishes: thickness, grain running round, matched or pinned parts, the saw's kerf.
    out
        A new folder for the picture, a board file for every blank, and a bench file that make takes as it is.
    think_s
        About how long to think; up to four times that on a computer that is busy.
    as_json
        Print the layout as JSON.
    """
    from kerfwright.app.layout import lay_out_piece

    laid = lay_out_piece(piece, rack, bench, wishes, out, think_s, on_a_screen(_progress))
    if as_json:
        print_json(laid.summary())
        return
    _tell(laid)


def _tell(laid: LaidOut) -> None:
    from kerfwright.app.layout import largest_first
    from kerfwright.wood.rough import BOARD_FOOT_MM3

    layout = laid.layout
    print(f"{laid.piece}: {len(layout.placed)} parts on {len(layout.boards)} of your boards")
    for board in layout.boards:
        own = board.board
        print(f"{board.name}, {own.length_mm:.0f} x {own.width_mm:.0f} mm")
        for each in layout.on(board.name):
            sawn = f"{each.wanted.length_mm:.1f} x {each.wanted.width_mm:.1f}"
            turned = "  end for end" if each.turned else ""
            at = f"{each.x_mm:.1f}, {each.y_mm:.1f}"
            print(f"  {each.wanted.part:<12} {sawn:>14} mm  at {at:>13}  {each.blank.thickness_mm:.2f} thick{turned}")
        for each in layout.coupons:
            if each.board == board.name:
                print(f"  coupon: {each.coupon}, {each.length_mm:.0f} x {each.width_mm:.0f} mm at {each.x_mm:.1f}, {each.y_mm:.1f}")
    for each in layout.no_room:
        print(f"- no room for the coupon {each}")
    left = list(largest_first(layout))[:MOST_OFFCUTS]
    print("Left over: " + ("; ".join(left) if left else "nothing of use"))
    feet = [volume_mm3 / BOARD_FOOT_MM3 for volume_mm3 in (layout.parts_mm3, layout.blanks_mm3, layout.boards_mm3)]
    print(f"Wood: parts {feet[0]:.2f}, blanks {feet[1]:.2f}, boards begun {feet[2]:.2f} board feet; {layout.begun_mm2 / 1e6:.3f} m2 begun")
    if layout.price is not None:
        print(f"The boards begun cost {layout.price:.2f}.")
    if any(each.wanted.milled for each in layout.placed):
        print("Mill:")
        for line in laid.mill():
            print(f"  {line}")
    print(_proof(laid))
    if laid.folder is not None:
        print(f"Written: {laid.folder}; look at layout.svg, then: kerfwright make PIECE --bench {laid.folder / 'bench.toml'}")


def _proof(laid: LaidOut) -> str:
    layout = laid.layout
    begun, gone = layout.begun_gap_frac, layout.gone_gap_frac
    least = "No layout begins less board" if begun <= 0 else f"Another layout might begin up to {begun:.1%} less board"
    fewest = "none on these boards uses up less" if gone <= 0 else f"another on these boards might use up as much as {gone:.1%} less"
    clock = "; stopped by the clock, so that another run may differ" if layout.by_clock else ""
    return f"{least}; {fewest}{clock}."


def _progress(begun_mm2: float, gone_mm2: float) -> None:
    over_and_over(f"{begun_mm2 / 1e6:.3f} m2 begun, {gone_mm2 / 1e6:.3f} m2 used up")
