"""Render a scene that `second` wrote with Blender's Cycles: run by a Python that has bpy, with two paths.

Apart from the rest of the package, which that Python need not be able to import. Units are millimetres.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import bpy
import numpy as np

Values = np.ndarray[Any, Any]


def main(source: str, target: str) -> None:
    """From ``source`` (.npz) to the linear radiance (H, W, 3) in ``target`` (.npy)."""
    with np.load(source) as file:
        stage = {name: file[name] for name in file.files}
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    for k in range(int(stage["meshes"])):
        _mesh(k, {name.split(".", 1)[1]: stage[name] for name in stage if name.startswith(f"{k}.")})
    _room(scene, stage["room"])
    _camera(scene, stage)
    scene.render.engine = "CYCLES"
    scene.cycles.device = "CPU"
    scene.cycles.samples = int(stage["samples"])
    scene.cycles.seed = int(stage["seed"]) % 2**31
    scene.cycles.max_bounces = int(stage["depth"])
    scene.cycles.use_adaptive_sampling = False
    scene.cycles.use_denoising = False
    scene.cycles.pixel_filter_type = "BOX"
    scene.cycles.filter_width = 1.0
    scene.render.threads_mode = "FIXED"
    scene.render.threads = int(stage["threads"])
    scene.render.image_settings.file_format = "OPEN_EXR"
    scene.render.image_settings.color_depth = "32"
    with tempfile.TemporaryDirectory() as folder:
        scene.render.filepath = os.path.join(folder, "seen.exr")
        bpy.ops.render.render(write_still=True)
        image = bpy.data.images.load(scene.render.filepath)
        width, height = image.size
        flat = np.empty(width * height * image.channels, np.float32)
        image.pixels.foreach_get(flat)
    seen = flat.reshape(height, width, -1)[::-1, :, :3]  # Blender's rows go up
    part = Path(target).with_suffix(".part")
    with open(part, "wb") as out:
        np.save(out, np.ascontiguousarray(seen))
    os.replace(part, target)


def _mesh(number: int, made: dict[str, Values]) -> None:
    mesh = bpy.data.meshes.new(f"mesh{number}")
    mesh.from_pydata(made["vertices"].tolist(), [], made["faces"].tolist())
    uv = mesh.uv_layers.new(name="uv")
    corners = np.empty(len(mesh.loops), np.int32)
    mesh.loops.foreach_get("vertex_index", corners)
    flat = made["uv"][corners].astype(np.float32)
    flat[:, 1] = 1 - flat[:, 1]  # a skin's v goes down
    uv.data.foreach_set("uv", flat.ravel())
    if "normals" in made:
        mesh.polygons.foreach_set("use_smooth", np.ones(len(mesh.polygons), bool))
        mesh.normals_split_custom_set_from_vertices(made["normals"].tolist())
    thing = bpy.data.objects.new(f"thing{number}", mesh)
    bpy.context.collection.objects.link(thing)
    mesh.materials.append(_material(number, made))


def _material(number: int, made: dict[str, Values]) -> Any:
    material = bpy.data.materials.new(f"material{number}")
    material.use_nodes = True
    nodes, links = material.node_tree.nodes, material.node_tree.links
    nodes.clear()
    out = nodes.new("ShaderNodeOutputMaterial")
    if "radiance" in made:
        lamp = nodes.new("ShaderNodeEmission")
        lamp.inputs["Color"].default_value = (*made["radiance"].tolist(), 1.0)
        links.new(lamp.outputs[0], out.inputs["Surface"])
        return material
    body = nodes.new("ShaderNodeBsdfPrincipled")
    links.new(body.outputs[0], out.inputs["Surface"])

    def texture(values: Values, name: str) -> Any:
        node = nodes.new("ShaderNodeTexImage")
        node.image, node.extension = _image(f"{name}{number}", values), "EXTEND"
        return node.outputs["Color"]

    if "colour" in made:
        body.inputs["Base Color"].default_value = (*made["colour"].tolist(), 1.0)
        for socket, name in (
            ("Roughness", "rough"),
            ("Metallic", "metal"),
            ("Specular IOR Level", "specular"),
        ):
            body.inputs[socket].default_value = float(made[name])
        return material
    links.new(texture(made["albedo"], "albedo"), body.inputs["Base Color"])
    layers = np.stack([made["rough"], made["metal"], made["specular"]], -1)
    split = nodes.new("ShaderNodeSeparateColor")
    links.new(texture(layers, "layers"), split.inputs[0])
    for socket, channel in (("Roughness", 0), ("Metallic", 1), ("Specular IOR Level", 2)):
        links.new(split.outputs[channel], body.inputs[socket])
    bend = nodes.new("ShaderNodeNormalMap")
    bend.uv_map = "uv"
    links.new(texture(made["normal"] * 0.5 + 0.5, "normal"), bend.inputs["Color"])
    links.new(bend.outputs[0], body.inputs["Normal"])
    return material


def _image(name: str, values: Values) -> Any:
    """A float image of linear values (H, W, 3), rows from the top."""
    height, width = values.shape[:2]
    image = bpy.data.images.new(name, width, height, alpha=False, float_buffer=True, is_data=True)
    full = np.ones((height, width, 4), np.float32)
    full[..., :3] = values[::-1]
    image.pixels.foreach_set(full.ravel())
    image.update()
    return image


def _room(scene: Any, room: Values) -> None:
    """The room's light from a map (H, W, 3), its columns anticlockwise from +x, its rows from the zenith."""
    world = bpy.data.worlds.new("room")
    scene.world, world.use_nodes = world, True
    nodes, links = world.node_tree.nodes, world.node_tree.links
    nodes.clear()
    sky, back, out = (
        nodes.new(f"Shader{name}") for name in ("NodeTexEnvironment", "NodeBackground", "NodeOutputWorld")
    )
    sky.image = _image("room", room[:, ::-1])  # Blender's columns go clockwise from -x
    links.new(sky.outputs["Color"], back.inputs["Color"])
    links.new(back.outputs[0], out.inputs["Surface"])


def _camera(scene: Any, stage: dict[str, Values]) -> None:
    from mathutils import Matrix

    height, width = (int(v) for v in stage["size"])
    made = bpy.data.cameras.new("camera")
    made.sensor_fit, made.sensor_width = "HORIZONTAL", 36.0
    made.lens = 36.0 * float(stage["focal_px"]) / width
    made.clip_start, made.clip_end = 5.0, 20000.0
    thing = bpy.data.objects.new("camera", made)
    right, down, forward = stage["rotation"]
    place = np.eye(4)
    place[:3, :3] = np.stack([right, -down, -forward], axis=1)  # Blender's camera: y up, looks along -z
    place[:3, 3] = stage["centre"]
    thing.matrix_world = Matrix(place.tolist())
    bpy.context.collection.objects.link(thing)
    scene.camera = thing
    scene.render.resolution_x, scene.render.resolution_y, scene.render.resolution_percentage = (
        width,
        height,
        100,
    )


if __name__ == "__main__":
    main(*sys.argv[-2:])
