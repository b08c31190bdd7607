from .outline import Outline, whole_frame
