from .result.page import save_page as save_page
from .result.picture import draw as draw
from .result.picture import save_picture as save_picture
from .result.summary import budget_rows as budget_rows
from .result.summary import heading as heading
from .result.summary import quantity_rows as quantity_rows
