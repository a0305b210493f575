"""The Song document: its parts, how it is changed, loaded and saved."""

from cuesuggest.song.corrections import (
    BarOneCorrection,
    Correction,
    DownbeatCorrection,
    FormCorrection,
    TempoCorrection,
    TimeSignatureCorrection,
)
from cuesuggest.song.edit_types import (
    AddCue,
    CueChanges,
    Edit,
    RemoveCue,
    SectionChanges,
    SetCorrections,
    SetCue,
    SetDoubts,
    SetLook,
    SetPlan,
    SetRecording,
    SetSection,
    SetSettings,
    Settings,
    SetTitle,
)
from cuesuggest.song.edits import apply, change, change_all, inverse, redo, undo
from cuesuggest.song.files import check_savable, path_from, path_to
from cuesuggest.song.model import Song, analysis_json
from cuesuggest.song.parts import (
    HistoryEntry,
    Printed,
    PrintedCue,
    Unplaced,
    Versions,
)
from cuesuggest.song.recording_file import RecordingFile, SongWindow
from cuesuggest.song.taken_over import Doubt, TakenOver

__all__ = [
    "AddCue",
    "BarOneCorrection",
    "Correction",
    "CueChanges",
    "Doubt",
    "DownbeatCorrection",
    "Edit",
    "FormCorrection",
    "HistoryEntry",
    "Printed",
    "PrintedCue",
    "RecordingFile",
    "RemoveCue",
    "SectionChanges",
    "SetCorrections",
    "SetCue",
    "SetDoubts",
    "SetLook",
    "SetPlan",
    "SetRecording",
    "SetSection",
    "SetSettings",
    "SetTitle",
    "Settings",
    "Song",
    "SongWindow",
    "TakenOver",
    "TempoCorrection",
    "TimeSignatureCorrection",
    "Unplaced",
    "Versions",
    "analysis_json",
    "apply",
    "change",
    "change_all",
    "check_savable",
    "inverse",
    "path_from",
    "path_to",
    "redo",
    "undo",
]
