"""`sheet`: a printable page for each stage, to work by and to write on."""

from __future__ import annotations

import argparse

from biaspredict import underway
from biaspredict.commands.common import FOUND, NOTHING, Subparsers

EPILOG = """\
Files are stages, each followed by its readings where there are any: first
those from before the work, then those from after it. A bench log may stand
anywhere and holds for every stage.

  biaspredict sheet preamp.stage
  biaspredict sheet preamp.stage before.readings after.readings -o preamp.pdf
  biaspredict sheet set.log preamp.stage tone.stage output.stage -o set.html
"""


def add(subparsers: Subparsers) -> None:
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "sheet", help="write a page to print for each stage, to work by and write on",
        description=(
            "One page a stage: the drawing, ohms before power, volts in the order to touch\n"
            "them with their bands and room to write, the chart beside the prediction, what\n"
            "to renew, before and after. Several stages make one document with a front page."
        ),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False,
    )
    parser.add_argument("files", nargs="+", metavar="FILE", help="stages, readings, a log")
    parser.add_argument("-o", "--out", metavar="FILE",
                        help="where to write: .html or .pdf; else STAGE-sheet.html here")
    parser.add_argument("--title", help="of the front page, where there are several stages")
    parser.add_argument("--meter", metavar="METER",
                        help='the meter at hand, like "10 MEG" or "20 kohm/V range 10 V"')
    parser.add_argument("--priors", metavar="FILE", help="your own table of fault priors")
    parser.add_argument("--json", action="store_true",
                        help="print a record for programs; writes only what -o names")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from biaspredict import pipeline, worksheets
    from biaspredict.notation.typed import read_meter
    from biaspredict.report import data, data_sheet
    from biaspredict.report.sheet import files, summary
    from biaspredict.report.sheet.document import document
    from biaspredict.report.sheet.figure import figure

    works = worksheets.read_works(args.files)
    path = None
    if args.out or not args.json:
        first = Path(works[0].stage.file).stem
        path = Path(args.out or f"{first}-sheet{'s' if len(works) > 1 else ''}.html")
        files.must_be_writable(path)
    priors = pipeline.priors_or_standard(args.priors)
    meter = read_meter(args.meter) if args.meter is not None else None
    with underway.shown():
        sheets = [worksheets.worksheet(work, priors, meter) for work in works]
    figures = [figure(sheet) for sheet in sheets]
    if path is not None:
        heading = args.title or next((w.log.title for w in works if w.log is not None), "")
        files.save(document(sheets, figures, heading), path)
    if args.json:
        written = str(path) if path is not None else None
        print(data.dumps(data_sheet.sheet_record(sheets, figures, written)))
    else:
        print("\n".join(summary.lines(sheets, figures, str(path))))
    amiss = any(
        summary.noteworthy(sheet, made) for sheet, made in zip(sheets, figures, strict=True)
    )
    return FOUND if amiss else NOTHING
