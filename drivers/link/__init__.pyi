from .byte_log import ByteLog as ByteLog
from .steady import open_steady_link as open_steady_link
from .survey import Manager as Manager
from .survey import reachable as reachable
from .survey import refuse_unknown as refuse_unknown
from .visa import Link as Link
from .visa import LinkSettings as LinkSettings
from .visa import open_visa as open_visa
