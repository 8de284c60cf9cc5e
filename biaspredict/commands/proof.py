"""`proof`: read a transcription for slips before anything is trusted."""

from __future__ import annotations

import argparse

from biaspredict.commands.common import FOUND, NOTHING, Subparsers, command


def add(subparsers: Subparsers) -> None:
    command(subparsers, "proof", run, "read the transcription for slips",
            "Does the stage hang together, are parts within their ratings, and does the\n"
            "printed chart agree? Where it does not, name the slip that would explain it.")


def run(args: argparse.Namespace) -> int:
    from biaspredict import pipeline

    stage = pipeline.load_stage(args.stage)
    from biaspredict.report import data, proofing

    proof = pipeline.proof(stage)
    if args.json:
        print(data.dumps(data.proof_record(stage, proof.findings, proof.charts, proof.unsolved)))
    else:
        print(proofing.page(stage, proof.findings, proof.charts, proof.unsolved))
    return NOTHING if proof.clean and not proof.unsolved else FOUND
