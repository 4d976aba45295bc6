"""Draws a posed body in a room with VTK, off screen on the CPU. vtk is imported on first use."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.lab import cards, clothes, places, props, wardrobe
from trainer.lab import rotations as rot
from trainer.lab.body import Body, skin
from trainer.lab.camera import Camera
from trainer.lab.card_print import card_picture
from trainer.lab.cards import Cards, Placed, Worn
from trainer.lab.clothes import Colour, Outfit
from trainer.lab.figure import Posed
from trainer.lab.props import Room

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Image = NDArray[np.uint8]

#: What stands less than this before a card's point is the card itself.
_BEFORE_M = 0.01
#: A texture also darkens the reflection, which on printed paper lies over the ink.
_GLARE = """//VTK::TCoord::Impl
  gl_FragData[0].rgb += specular * (1.0 - tcolor.rgb);
"""


class Stage:
    """One body in one outfit in one room, seen by one camera; draws frame after frame."""

    def __init__(
        self,
        body: Body,
        outfit: Outfit,
        room: Room,
        camera: Camera,
        *,
        mirror: bool = False,
        worn: Worn | None = None,
        fine: bool = False,
    ) -> None:
        """``fine``: drawn in twice the size and made smaller, as always with tags worn."""
        self._body, self._room, self._camera = body, room, camera
        self._trunk = clothes.trunk_vertices(body)
        #: Points of the trunk's surface, clothes included, in the picture drawn last (P, 3).
        self.trunk_m: Floats = np.empty((0, 3))
        self._shells, self._drapes, bare = wardrobe.dress(body, outfit, room.weave)
        self._vtk = _Window(camera, room, mirror=mirror, fine=worn is not None or fine)
        self._skin = self._vtk.mesh(bare, len(body.vertices), shine=0.12)
        self._skin.colours(clothes.face_colours(body, outfit))
        self._cloth = []
        for shell in self._shells:
            mesh = self._vtk.mesh(shell.faces, len(shell.first), shine=shell.shine)
            mesh.dye(shell.colour, shell.across_down, shell.print_of)
            self._cloth.append(mesh)
        self._hung = []
        for drape in self._drapes:
            mesh = self._vtk.mesh(drape.faces, len(drape.points), shine=drape.shine)
            mesh.dye(drape.colour, drape.across_down, drape.print_of)
            self._hung.append(mesh)
        #: The tags' cards in the picture drawn last.
        self.placed: list[Placed] = []
        self._cards = None if worn is None else self._put_on(worn)
        self._rigid: list[tuple[str, Floats, _Mesh]] = []
        for side in (".L", ".R"):
            points, faces = props.hull(clothes.shoe_points(body, side))
            shoe = self._vtk.mesh(faces, len(points), shine=0.1)
            shoe.colour(outfit.shoes)
            self._rigid.append((f"foot{side}", points, shoe))
        shaft, shaft_faces = props.shaft()
        self._shaft = self._vtk.mesh(shaft_faces, len(shaft), shine=0.5)
        self._shaft.colours(props.shaft_colours(shaft))
        head, head_faces = props.club_head()
        self._head = self._vtk.mesh(head_faces, len(head), shine=0.6)
        self._head.colour((38, 38, 44))

    def draw(self, posed: Posed, frame: int) -> Image:
        """Return one picture (H, W, 3) uint8 RGB, clean: no grain, no blur."""
        flip = np.array([-1.0, 1.0, 1.0]) if posed.mirrored else np.ones(3)
        turns, joints = posed.rotations[frame], posed.joints[frame]
        vertices = skin(self._body, turns, joints)
        normals = clothes.vertex_normals(vertices, self._body.faces)
        self._skin.place(vertices * flip, normals * flip)
        trunk, surface = [vertices[self._trunk]], [vertices]
        for shell, mesh in zip(self._shells, self._cloth, strict=True):
            points = shell.place(vertices, normals)
            surface.append(points)
            trunk.append(points[self._trunk[shell.first]])
            mesh.place(points * flip, clothes.vertex_normals(points, shell.faces) * flip)
        self.trunk_m = np.concatenate(trunk) * flip
        cast = [vertices]
        for drape, mesh in zip(self._drapes, self._hung, strict=True):
            points = drape.place(self._body, turns, joints)
            surface.append(points)
            if drape.bones[0] == "root":  # a skirt; the rest throws no shadow of its own
                cast.append(points)
            mesh.place(points * flip, clothes.vertex_normals(points, drape.faces) * flip)
        if self._cards is not None:
            self._place_cards(
                self._cards.ride(np.concatenate(surface), turns, joints, mirrored=posed.mirrored)
            )
        for bone, rest, mesh in self._rigid:
            index = self._body.bone(bone)
            points = joints[index] + (rest - self._body.heads[index]) @ turns[index].T
            points[:, 1] = np.maximum(points[:, 1], 0.002)
            mesh.place(points * flip, clothes.vertex_normals(points, mesh.faces) * flip)
        club = self._place_club(posed, frame, flip)
        self._vtk.cast(np.concatenate([*(points * flip for points in cast), club]))
        return places.toned(self._vtk.picture(), self._room.style)

    def _put_on(self, worn: Worn) -> Cards:
        """Return the cards on the dressed body at rest, with a surface for each in the scene."""
        body = self._body
        normals = clothes.vertex_normals(body.vertices, body.faces)
        hung = [drape.points for drape in self._drapes]
        surface = [body.vertices, *(s.place(body.vertices, normals) for s in self._shells), *hung]
        counts = [len(d.points) * (1 if d.bones[0] == "root" else -1) for d in self._drapes]
        free = cards.free_points(body, counts, self._shells) < 0.3
        self._sheet, share, faces = cards.grid(worn)
        self._paper = []
        for number in worn.numbers:
            mesh = self._vtk.card(faces, len(self._sheet), worn.gloss)
            mesh.show(share, card_picture(number, worn.size_cm))
            self._paper.append(mesh)
        return Cards(body, worn, np.concatenate(surface), free)

    def _place_cards(self, placed: list[Placed]) -> None:
        self.placed = placed
        for card, mesh in zip(placed, self._paper, strict=True):
            points = card.at(self._sheet)
            mesh.place(points, clothes.vertex_normals(points, mesh.faces))

    def seen(self) -> list[float]:
        """Return the share 0..1 of each card's black square that the picture drawn last shows."""
        steps = np.linspace(-0.46, 0.46, 9)
        spots = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
        shares = []
        for card in self.placed:
            points = card.at(spots * card.tag_m)
            away = (self._camera.place_m - points) @ card.facing
            shares.append(float((self._vtk.in_front(points) & (away > 0)).mean()))
        return shares

    def _place_club(self, posed: Posed, frame: int, flip: Floats) -> Floats:
        """Place shaft and head; return points along the club that throw its shadow."""
        top, head = posed.club[frame]
        along = rot.unit(head - top)
        face, toe = posed.face[frame], posed.sole[frame]
        axes = np.stack([rot.across(face, along), along, np.cross(rot.across(face, along), along)])
        points, faces = props.shaft()
        placed = top + (points * [1, np.linalg.norm(head - top), 1]) @ axes
        self._shaft.place(placed * flip, clothes.vertex_normals(placed, faces) * flip)
        # the shaft runs into the heel; the head lies along the sole, toe away from the player
        lie = rot.unit(0.75 * toe + 0.35 * along)
        up = rot.across(-along, lie)
        axes = np.stack([np.cross(up, lie), up, lie])
        points, faces = props.club_head()
        placed = head + points @ axes
        self._head.place(placed * flip, clothes.vertex_normals(placed, faces) * flip)
        line = top + np.linspace(0, 1, 120)[:, None] * (head - top)
        return np.concatenate([line, placed]) * flip


class _Mesh:
    """One VTK surface whose points change from frame to frame."""

    def __init__(
        self, renderer: Any, faces: Ints, count: int, shine: float, style: str, *, mirror: bool
    ) -> None:
        import vtk
        from vtk.util import numpy_support

        self.faces = faces
        self._to_vtk = numpy_support.numpy_to_vtk
        self._data = vtk.vtkPolyData()
        points = vtk.vtkPoints()
        points.SetData(self._to_vtk(np.zeros((count, 3)), deep=True))
        self._data.SetPoints(points)
        cells = vtk.vtkCellArray()
        # a mirrored surface turns inside out unless its triangles run the other way round
        outward = faces[:, ::-1] if mirror else faces
        table = np.hstack([np.full((len(faces), 1), 3), outward]).astype(np.int64).ravel()
        cells.ImportLegacyFormat(numpy_support.numpy_to_vtkIdTypeArray(table, deep=True))
        self._data.SetPolys(cells)
        mapper = vtk.vtkPolyDataMapper()
        mapper.SetInputData(self._data)
        self.actor = vtk.vtkActor()
        self.actor.SetMapper(mapper)
        look = self.actor.GetProperty()
        look.SetInterpolationToPhong()
        look.SetSpecular(shine)
        look.SetSpecularPower(18)
        look.SetAmbient(0.0)
        places.shade(self.actor, shine, style)
        renderer.AddActor(self.actor)

    def colour(self, colour: Colour) -> None:
        self.actor.GetProperty().SetColor(*(c / 255 for c in colour))
        self.actor.GetProperty().SetAmbientColor(1, 1, 1)

    def dye(self, colour: Colour, across_down: Floats | None, print_of: Image | None) -> None:
        """Give the surface one colour, or a print repeated over it."""
        from vtk.util import numpy_support

        if across_down is None or print_of is None:
            self.colour(colour)
            return
        self.colour((255, 255, 255))
        table = numpy_support.numpy_to_vtk(across_down.astype(np.float32), deep=True)
        self._data.GetPointData().SetTCoords(table)
        self.actor.SetTexture(places.surface_of(print_of, repeat=True))

    def show(self, share: Floats, picture: Image) -> None:
        """Give the surface a picture once; ``share`` (P, 2) from the picture's upper left."""
        from vtk.util import numpy_support

        self.colour((255, 255, 255))
        table = np.stack([share[:, 0], 1 - share[:, 1]], axis=1).astype(np.float32)
        self._data.GetPointData().SetTCoords(numpy_support.numpy_to_vtk(table, deep=True))
        surface = places.surface_of(picture[::-1])
        surface.SetMaximumAnisotropicFiltering(16)
        self.actor.SetTexture(surface)
        self.actor.GetProperty().BackfaceCullingOn()

    def colours(self, colours: NDArray[np.uint8]) -> None:
        from vtk.util import numpy_support

        array = numpy_support.numpy_to_vtk(colours, deep=True)
        self._data.GetPointData().SetScalars(array)

    def place(self, points: Floats, normals: Floats) -> None:
        self._data.GetPoints().SetData(self._to_vtk(np.ascontiguousarray(points), deep=True))
        self._data.GetPointData().SetNormals(
            self._to_vtk(np.ascontiguousarray(normals, dtype=np.float32), deep=True)
        )
        self._data.Modified()


class _Window:
    """The off-screen window, the camera, the lights and the room."""

    SHADOW_PX = 320

    def __init__(self, camera: Camera, room: Room, *, mirror: bool, fine: bool = False) -> None:
        import vtk

        # without a screen VTK says so before it draws off screen: no news
        vtk.vtkLogger.SetStderrVerbosity(vtk.vtkLogger.VERBOSITY_ERROR)
        self._room, self._mirror, self._camera = room, mirror, camera
        self._fine = 2 if fine else 1
        self._shadow_m = 7.0 if room.place == "range" else 4.0
        self._renderer = vtk.vtkRenderer()
        self._renderer.SetBackground(*(c / 255 * 0.9 for c in room.wall))
        self._window = vtk.vtkRenderWindow()
        self._window.SetOffScreenRendering(1)
        # Edges smoothed on the finished picture: half the cost of multisampling on a CPU. It moves
        # the edges of a printed tag by a tenth of a pixel: those are drawn in twice the size.
        self._window.SetMultiSamples(0)
        self._renderer.SetUseFXAA(not fine)
        self._window.SetSize(*(self._fine * side for side in camera.size_wh))
        self._window.AddRenderer(self._renderer)
        self._aim(camera)
        self._light()
        self._build()
        self._grab = vtk.vtkWindowToImageFilter()
        self._grab.SetInput(self._window)
        self._grab.SetInputBufferTypeToRGB()
        self._grab.ReadFrontBufferOff()
        self._grab.ShouldRerenderOff()  # picture() has just rendered

    def mesh(self, faces: Ints, count: int, shine: float) -> _Mesh:
        style = self._room.style
        return _Mesh(self._renderer, faces, count, shine, style, mirror=self._mirror)

    def card(self, faces: Ints, count: int, gloss: float) -> _Mesh:
        """Return a card's surface: paper with the lamps' reflection over ink and white alike."""
        mesh = _Mesh(self._renderer, faces, count, gloss, "soft", mirror=False)
        mesh.actor.GetProperty().SetSpecularPower(40)
        mesh.actor.GetShaderProperty().AddFragmentShaderReplacement(
            "//VTK::TCoord::Impl", True, _GLARE, False
        )
        return mesh

    def picture(self) -> Image:
        from vtk.util import numpy_support

        self._window.Render()
        self._grab.Modified()
        self._grab.Update()
        image = self._grab.GetOutput()
        width, height, _ = image.GetDimensions()
        flat = numpy_support.vtk_to_numpy(image.GetPointData().GetScalars())
        drawn = np.ascontiguousarray(flat.reshape(height, width, 3)[::-1])
        if self._fine == 1:
            return drawn
        import cv2

        return np.asarray(
            cv2.resize(drawn, self._camera.size_wh, interpolation=cv2.INTER_AREA), dtype=np.uint8
        )

    def in_front(self, points: Floats) -> NDArray[np.bool_]:
        """Return which world points (P, 3) nothing stands before, in the picture drawn last."""
        import vtk
        from vtk.util import numpy_support

        width, height = (self._fine * side for side in self._camera.size_wh)
        pixels = np.nan_to_num(self._camera.project(points) * self._fine, nan=-1.0)
        column, row = np.floor(pixels).astype(np.int64).T
        inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
        found = vtk.vtkFloatArray()
        self._window.GetZbufferData(0, 0, width - 1, height - 1, found)
        buffer = numpy_support.vtk_to_numpy(found).reshape(height, width)[::-1]
        near, far = self._renderer.GetActiveCamera().GetClippingRange()
        drawn = buffer[np.where(inside, row, 0), np.where(inside, column, 0)]
        depth_m = far * near / (far - drawn * (far - near))
        true_m = (points - self._camera.place_m) @ self._camera.axes[2]
        return inside & (depth_m > true_m - _BEFORE_M)

    def cast(self, points: Floats) -> None:
        """Lay a soft shadow of a cloud of points (P, 3) on the floor."""
        import cv2
        from vtk.util import numpy_support

        size = self.SHADOW_PX
        light = np.array(self._room.light_from)
        # a lamp near by throws a short shadow; the sun's is as long as it stands low
        steep = light[1] * (1.0 if self._room.place == "range" else 2.2)
        drop = points[:, 1:2] / max(steep, 0.1)
        flat = points[:, [0, 2]] - drop * light[[0, 2]]
        cell = np.floor((flat / self._shadow_m + 0.5) * size).astype(np.int64)
        cell = cell[np.all((cell >= 0) & (cell < size), axis=1)]
        image = np.zeros((size, size), dtype=np.uint8)
        image[cell[:, 1], cell[:, 0]] = 255
        image = cv2.morphologyEx(image, cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
        soft = cv2.GaussianBlur(image, (0, 0), 5.0).astype(float)
        near = cv2.GaussianBlur(image, (0, 0), 1.6).astype(float)
        rgba = np.zeros((size, size, 4), dtype=np.uint8)
        rgba[..., 3] = ((0.6 * soft + 0.4 * near) * self._room.shadow).astype(np.uint8)
        data = numpy_support.numpy_to_vtk(rgba.reshape(-1, 4), deep=True)
        self._shadow.GetPointData().SetScalars(data)
        self._shadow.Modified()

    def _aim(self, camera: Camera) -> None:
        view = self._renderer.GetActiveCamera()
        place, axes = camera.place_m, camera.axes
        view.SetPosition(*place)
        view.SetFocalPoint(*(place + axes[2]))
        view.SetViewUp(*(-axes[1]))
        height, width = camera.size_wh[1], camera.size_wh[0]
        half = np.tan(np.radians(camera.hfov_deg / 2)) * height / width
        view.SetViewAngle(float(np.degrees(2 * np.arctan(half))))
        view.SetClippingRange(0.1, places.FAR_M[self._room.place])

    def _light(self) -> None:
        import vtk

        self._renderer.AutomaticLightCreationOff()
        for place, strength, warm in places.lamps(self._room):
            light = vtk.vtkLight()
            light.SetLightTypeToSceneLight()
            light.SetPosition(*place)
            light.SetFocalPoint(0, 0.9, 0)
            light.SetIntensity(strength)
            light.SetColor(*warm)
            self._renderer.AddLight(light)

    def _build(self) -> None:
        import vtk

        places.build(self._renderer, self._room, np.random.default_rng(self._room.seed))
        self._shadow = vtk.vtkImageData()
        self._shadow.SetDimensions(self.SHADOW_PX, self.SHADOW_PX, 1)
        half, lift = self._shadow_m / 2, 0.003
        clear = np.zeros((self.SHADOW_PX, self.SHADOW_PX, 4), dtype=np.uint8)
        corners = (-half, lift, -half), (half, lift, -half), (-half, lift, half)
        places.board(self._renderer, *corners, clear, self._shadow)
