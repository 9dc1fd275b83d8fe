from tests.map_pages import *  # noqa
from tests.map_record import *  # noqa
from tests.map_record import made as _made  # noqa
