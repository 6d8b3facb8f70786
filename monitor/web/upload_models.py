"""What the JSON interface answers to uploads: the pipeline's answers, as the OpenAPI document describes them."""

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from monitor.terms import State


class _Model(BaseModel):
    model_config = ConfigDict(from_attributes=True)


class Row(_Model):
    """A row of readings that is not used, and why."""

    sheet: str = Field(description="sheet of the file, '' for CSV", examples=[""])
    row: int = Field(description="row as a spreadsheet counts, headings included", examples=[6])
    cell: str = Field(description="cell of the value", examples=["I6"])
    wall: str = Field(description="wall as typed or found, written house-wall", examples=["DH-06-E"])
    mark: str = Field(description="mark", examples=["M5"])
    value: str = Field(description="value and unit as typed", examples=["3 x in"])
    state: State = Field(description="held: kept, not used until somebody decides; rejected; could-not-read")
    reason_code: str = Field(description="a fixed code of the reason", examples=["length"])
    reason: str = Field(
        description="what is wrong and the mend, in plain words",
        examples=["I6 '3 x': a length expected. Write it like 1 3/16 or 30.2."],
    )


class Table(_Model):
    """What becomes of one table of a file: received = used + held + rejected + could_not_read."""

    holds: str = Field(description="readings, or a table of the register", examples=["readings"])
    received: int = Field(description="rows", examples=[5])
    used: int = Field(description="rows that are used", examples=[4])
    held: int = Field(description="rows kept, not used until somebody decides", examples=[0])
    rejected: int = Field(description="rows that cannot be used", examples=[1])
    could_not_read: int = Field(description="marks of which is said that they could not be read", examples=[0])
    already_in: int = Field(description="of the rejected, rows that say again what is in", examples=[0])
    added: int = Field(description="rows that are new to the store, whatever their state", examples=[5])
    new_used: int = Field(description="of the used, rows that are new to the store", examples=[4])
    new_held: int = Field(description="of the held, rows that are new to the store", examples=[0])
    again: bool = Field(description="whether all of it came before", examples=[False])
    summary: str = Field(
        description="the same in words", examples=["visit.csv: 5 readings received: 4 used, 1 rejected."]
    )
    messages: list[str] = Field(description="what there is to say of single rows, in the words of the command `ingest`")
    rows: list[Row] = Field(description="readings that are not used")
    mend: str = Field(
        description="name of the mend sheet with the failing rows, '' where none fails", examples=["0.csv"]
    )


class Photo(_Model):
    """What becomes of a photo, in the words of the command `photos`."""

    fate: Literal["tied", "in already", "held"] = Field(
        description="held: it is not kept, since what it shows is not known; send it again and say so"
    )
    why: str = Field(
        description="to what it is tied, or why it is not",
        examples=["It is tied to DH-06-E, visit of 2026-05-12, mark M3, 1 reading."],
    )


class File(_Model):
    """What becomes of one file."""

    name: str = Field(description="name as received, without folders", examples=["visit.csv"])
    sha256: str = Field(description="SHA-256 of its bytes", examples=["0" * 64])
    tables: list[Table] = Field(description="tables found in it")
    problem: str = Field(description="why nothing of it can be taken in, '' where something can", examples=[""])
    photo: Photo | None = Field(description="where it is a photo; there are no tables then", examples=[None])


class Wall(_Model):
    """A wall's verdict with the upload in."""

    wall: str = Field(description="written house-wall", examples=["DH-06-E"])
    verdict: str = Field(description="the verdict, '' where none can be given", examples=["too early"])
    before: str = Field(
        description="the verdict of the last assessment, '' where there was none", examples=["too early"]
    )
    reason: str = Field(description="its reason in one sentence")
    missing: str = Field(description="what is missing for a verdict, '' where nothing is")
    alarms: list[str] = Field(description="what asks for somebody, most urgent first: how soon, why, what to do")


class UploadAnswer(_Model):
    """An upload and its answer. A flag is not a structural assessment, and neither is its absence."""

    upload_id: str = Field(description="id to confirm by", examples=["ef75f1447c1558e0ab9bc178282bc0ac"])
    state: Literal["previewed", "changed", "stored"] = Field(
        description="previewed: nothing is stored; changed: nothing is stored, since what the store knows changed "
        "after the preview, and this is a new one to confirm; stored: it is on the disk"
    )
    says: str = Field(description="all of it in one sentence", examples=["This adds 118 readings, holds 3."])
    made_at: datetime = Field(description="when this answer was made, UTC")
    expires_at: datetime = Field(description="when the answer, and files that nobody confirmed, are forgotten")
    files: list[File] = Field(description="the answer to each file")
    walls: list[Wall] = Field(description="the verdicts of the walls touched; empty until it is stored")
