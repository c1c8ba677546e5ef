from .base.record_base import RecordBase as RecordBase
from .base.record_base import open_base as open_base
from .files.document import result_document as result_document
from .files.document import to_json as to_json
from .files.readings import SweepInFile as SweepInFile
from .files.readings import read_sweep as read_sweep
from .files.readings_writer import ReadingsFile as ReadingsFile
